"""Whether the land between two pipes is one field."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from ..land.notices import Owners
from ..land.owners import LandMap
from ..tables import Land

_SHARE = 0.6  # of the way along the pipes on which one field must lie between them
_NO_FIELD = ("road", "lot", "pond")


@dataclass(frozen=True)
class FieldEdges:
    """Asks the land layer. Fields of one owner that meet count as one; a road, lot or pond stands for itself, and
    what is in no polygon is no field unless the pipes lie there as well."""

    land: Land
    map: LandMap

    @cached_property
    def _block(self) -> np.ndarray:
        """What each row of land belongs to."""
        owner = Owners.of(self.land).of_land
        apart = np.isin(self.land.use.astype(str), _NO_FIELD)
        return np.where(apart, len(self.land) + np.arange(len(self.land)), owner)

    def one_field(self, one: np.ndarray, other: np.ndarray, across: int) -> bool:
        """Whether on most of the way no edge runs between corresponding places of two pipes."""
        steps = np.linspace(0.0, 1.0, across + 1)[None, :, None]
        xy = one[:, None, :] + steps * (other - one)[:, None, :]
        count = xy.shape[0] * xy.shape[1]
        place, row = self.map.tree.query(shapely.points(xy.reshape(-1, 2)), predicate="intersects")
        # nobody's land is a block of its own, with the number -1
        block = np.concatenate([self._block[row], np.full(count - len(np.unique(place)), -1)])
        place = np.concatenate([place, np.setdiff1d(np.arange(count), place)])
        met = np.unique(np.stack([place, block]), axis=1)
        along = met[0] // xy.shape[1]
        pair, times = np.unique(np.stack([along, met[1]]), axis=1, return_counts=True)
        whole = np.unique(pair[0][times == xy.shape[1]])
        return len(whole) >= _SHARE * xy.shape[0]
