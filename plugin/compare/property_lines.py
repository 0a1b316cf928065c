"""Lines of a layout that leave the land of the owner they mostly lie on."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from ..land.notices import Owners
from ..land.owners import NOBODY, LandMap, cut_at_land
from ..network.lines import Lines, explode
from ..tables import Drains, Land
from .found import Found
from .given import Settings


def check_property(layout: Drains, usable: np.ndarray, land: Land, settings: Settings) -> Iterator[Found]:
    """Length of each line under other land than that of its main owner; along a common boundary it is on both.

    Land in no polygon is that of nobody on the map. Less than the join tolerance beyond a line is not counted.
    """
    rows = np.flatnonzero(usable)
    lines, _ = explode(layout.geometry[rows])
    if not len(lines) or not len(land):
        return
    parcels, owners = LandMap.of(land), Owners.of(land)
    every = np.arange(len(lines))
    stretch, from_m, to_m = cut_at_land(
        lines, every, np.zeros(len(lines)), lines.length_m, parcels, tolerance_m=settings.limits["exact_joint"]
    )
    middle = shapely.points(lines.points_at(stretch, (from_m + to_m) / 2))
    part, row = parcels.tree.query(middle, predicate="dwithin", distance=settings.limits["exact_joint"])
    outside = np.setdiff1d(np.arange(len(stretch)), part)
    part, owner = np.concatenate([part, outside]), np.concatenate([owners.of_rows(row), np.full(len(outside), NOBODY)])
    part, owner = np.unique(np.stack([part, owner]), axis=1)  # an owner on both sides counts once
    line, length_m = stretch[part], (to_m - from_m)[part]
    home = _longest(line, owner, length_m, len(lines))
    at_home = np.zeros(len(stretch), dtype=bool)
    at_home[part[owner == home[line]]] = True
    away = np.flatnonzero(~at_home[part] & (home[line] != NOBODY))
    place_m = np.where(from_m > 0.0, from_m, to_m)
    yield _found(
        rows[lines.drain], lines, stretch, place_m, part[away], owner[away], length_m[away], home, owners, settings
    )


def _longest(line: np.ndarray, owner: np.ndarray, length_m: np.ndarray, count: int) -> np.ndarray:
    """The owner on whose land most of each line lies; somebody before nobody."""
    pair, back = np.unique(np.stack([line, owner]), axis=1, return_inverse=True)
    total = np.bincount(back.ravel(), weights=length_m, minlength=pair.shape[1])
    order = np.lexsort((total, pair[1] != NOBODY, pair[0]))
    home = np.full(count, NOBODY, dtype=np.int64)
    home[pair[0][order]] = pair[1][order]
    return home


def _found(
    row_of_line: np.ndarray, lines: Lines, stretch: np.ndarray, place_m: np.ndarray, part: np.ndarray,
    owner: np.ndarray, length_m: np.ndarray, home: np.ndarray, owners: Owners, settings: Settings,
) -> Found:
    """One row a line and owner whose land it enters."""
    line = stretch[part]
    pair, first, back = np.unique(np.stack([line, owner]), axis=1, return_index=True, return_inverse=True)
    total_m = np.bincount(back.ravel(), weights=length_m, minlength=pair.shape[1])
    kept = np.flatnonzero(total_m > max(settings.tolerance_m, settings.limits["exact_joint"]))
    line, owner, total_m, first = pair[0][kept], pair[1][kept], total_m[kept], first[kept]
    names = np.append(owners.name, "nobody on the map")
    show = settings.units.show_length
    detail = [f"{show(length)} lie on land of {names[other]}, the rest on that of {names[own]}"
              for length, other, own in zip(total_m, owner, home[line])]
    xy_m = lines.points_at(line, place_m[part[first]])
    return Found.of("property-crossing", row_of_line[line], total_m, None, detail, xy_m)
