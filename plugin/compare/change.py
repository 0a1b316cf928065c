"""What a change does to the outlets: pipe and land that drain to each before and after, and land that moves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from .moves import NOT_DRAINED, Moves, land_moves
from .outlets import NO_OUTLET, NOT_KNOWN, Drained
from .touched import Touched
from .trials import Trial

_WORDS = {NO_OUTLET: "no outlet", NOT_KNOWN: "not known", NOT_DRAINED: "not drained"}


@dataclass(frozen=True)
class OutletSums:
    """Land and pipe that drain to one outlet of the touched systems, before and after; or to no outlet."""

    key: str
    name: str
    xy_m: tuple[float, float]
    area_before_m2: float
    area_after_m2: float
    length_before_m: float
    length_after_m: float


@dataclass(frozen=True)
class Moved:
    """Land that goes from one outlet to another; keys and names as in OutletSums, "no outlet" and the like included.

    `drains`: names of those that served it before, or serve it now where none did.
    """

    before: str
    after: str
    before_name: str
    after_name: str
    area_m2: float
    shape: object
    drains: tuple[str, ...]


@dataclass(frozen=True)
class Change:
    """`length_m` is the length of line that comes to the archive, less what is drawn shorter."""

    outlets: tuple[OutletSums, ...]
    moved: tuple[Moved, ...]
    length_m: float

    @property
    def moved_area_m2(self) -> float:
        """Land that goes from one outlet to another, or loses or gains one."""
        return sum(one.area_m2 for one in self.moved if _WORDS[NOT_DRAINED] not in (one.before, one.after))


def change_between(before: Trial, after: Trial, touched: Touched) -> Change:
    """Compare two networks of the same touched part of an archive."""
    labels = _Labels(before.drained, after.drained)
    moves = land_moves(before.drained, after.drained, _changed(after, touched), labels.of)
    sums = [_sums(trial, touched, labels) for trial in (before, after)]
    outlets = tuple(
        OutletSums(labels.key[label], labels.name[label], labels.xy_m[label], *(s[kind].get(label, 0.0)
                   for kind in ("area", "length") for s in sums))
        for label in sorted(set(sums[0]["length"]) | set(sums[1]["length"]))
    )
    return Change(outlets, tuple(labels.moved(moves, after.network.drains.name)), _added_m(before, after))


def _changed(after: Trial, touched: Touched) -> np.ndarray:
    """Drains whose shape or land can have changed."""
    return np.flatnonzero((after.layout_row() >= 0) | np.append(touched.near, np.zeros(len(after.new), dtype=bool)))


def _sums(trial: Trial, touched: Touched, labels: _Labels) -> dict[str, dict[int, float]]:
    """Land and pipe by outlet label, of the systems that are here as a whole."""
    county, shares = trial.drained.county, trial.drained.shares
    counted = np.append(touched.whole, np.ones(len(trial.new), dtype=bool))
    keep = counted[county.network.piece_drain[shares.piece]]
    label, share = labels.of(trial.drained, shares.outlet[keep]), shares.share[keep]
    sums = {}
    for kind, value in (("area", county.piece_area_m2), ("length", county.network.pieces.length_m)):
        amount = value[shares.piece[keep]] * share
        sums[kind] = {int(one): float(amount[label == one].sum()) for one in np.unique(label)}
    return sums


def _added_m(before: Trial, after: Trial) -> float:
    return sum(sign * float(np.nansum(shapely.length(trial.network.drains.geometry)))
               for sign, trial in ((1.0, after), (-1.0, before)))


class _Labels:
    """Numbers for outlets that mean the same before and after; what is no outlet keeps its own below 0."""

    def __init__(self, *situations: Drained) -> None:
        self.key, self.name = dict(_WORDS), dict(_WORDS)
        self.xy_m = dict.fromkeys(_WORDS, (float("nan"), float("nan")))
        self._number: dict[str, int] = {}
        for drained in situations:
            net = drained.county.network
            places = net.nodes.xy[net.outlets.node].tolist()
            for key, name, xy_m in zip(drained.outlet_key.tolist(), drained.outlet_name.tolist(), places):
                number = self._number.setdefault(key, len(self._number))
                self.key[number], self.name[number], self.xy_m[number] = key, name, tuple(xy_m)

    def of(self, drained: Drained, outlet: np.ndarray) -> np.ndarray:
        """Labels of rows of the outlets of one situation."""
        own = np.array([self._number[key] for key in drained.outlet_key.tolist()], dtype=np.int64)
        return np.where(outlet >= 0, np.append(own, 0)[np.maximum(outlet, 0)], outlet)

    def moved(self, moves: Moves, names: np.ndarray) -> Iterator[Moved]:
        """Moves in words; `names` of the drains."""
        columns = (moves.before.tolist(), moves.after.tolist(), moves.area_m2.tolist(), moves.shape, moves.drains)
        for before, after, area_m2, shape, drains in zip(*columns):
            served = tuple(str(name) for name in names[drains])
            yield Moved(
                self.key[before], self.key[after], self.name[before], self.name[after], area_m2, shape, served
            )
