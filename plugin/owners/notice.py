"""Whom to tell that a pipe is plugged: whose land drains through it, whose land it lies on, who is above and below."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..county import County
from ..land.notices import Owners, to_tell
from ..land.owners import NOBODY, LandMap, LandShares, land_crossed, split_by_land
from ..network.trace import PlaceOnPipe, trace_downstream, trace_upstream
from ..tables import Land
from ..trace_sums import Above, sum_above

DRAINS, HERE, ABOVE, BELOW = (
    "land drains through it", "it lies on this land", "pipe above it runs under this land",
    "the way to the outlet runs under this land",
)


@dataclass(frozen=True)
class Notice:
    """Owners to tell, in the order to tell them: land that drains through the place, pipe above it under their land,
    pipe below it under their land where that was asked for; and why, in words.

    The first `first` of them have land that drains through the place, or the place itself.
    """

    owner: np.ndarray
    first: int
    area_m2: np.ndarray
    above_m: np.ndarray
    below_m: np.ndarray
    why: list[str]
    nobody_m2: float


def whom_to_tell(
    county: County, place: PlaceOnPipe, land: Land, owners: Owners, land_map: LandMap, downstream: bool = False
) -> Notice:
    """Owners concerned by a plug at the place.

    First those whose land has to drain through it, most land first; then the owner of the place; then those under
    whose land pipe above the place runs, where water may come up; then with `downstream` those below.
    """
    above = sum_above(county, trace_upstream(county.network, place, county.down))
    split = split_by_land(county.served, above.line, above.from_m, above.to_m, land_map)
    return notice_of(county, place, above, split, owners, land_map, downstream)


def notice_of(
    county: County, place: PlaceOnPipe, above: Above, split: LandShares, owners: Owners, land_map: LandMap,
    downstream: bool = False,
) -> Notice:
    """The same where what drains through the place is known, and shared out between the land."""
    net = county.network
    count = len(owners.name) + 1  # NOBODY stands last
    owner, area_m2 = owners.of_rows(split.land), split.area_m2 * above.weight[split.stretch]
    area = np.bincount(owner % count, area_m2, minlength=count)
    above_m = _under(county, above.line, above.from_m, above.to_m, owners, land_map)
    below_m = np.zeros(count)
    if downstream:
        way = trace_downstream(net, place)
        pieces, begin, end = way.stretches(net.pieces)
        below_m = _under(county, net.pieces.line[pieces], begin, end, owners, land_map)
    owner_here = owners.of_rows(land_at(county, place, land_map))
    here = np.zeros(count, dtype=bool)
    here[owner_here] = True
    reasons = {DRAINS: area > 0, HERE: here, ABOVE: above_m > 0, BELOW: below_m > 0}
    first = to_tell(owner, area_m2, owner_here)
    further = np.setdiff1d(np.flatnonzero((above_m[:-1] > 0) | (below_m[:-1] > 0)), first)
    order = np.concatenate([first, further[np.lexsort((-below_m[further], -above_m[further]))]])
    why = ["; ".join(word for word, holds in reasons.items() if holds[owner]) for owner in order.tolist()]
    return Notice(order, len(first), area[order], above_m[order], below_m[order], why, float(area[-1]))


def _under(
    county: County, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, owners: Owners, land_map: LandMap
) -> np.ndarray:
    """Length of stretches under the land of every owner, NOBODY last; between two lands of one owner once."""
    real = to_m - from_m > 1e-6
    over = land_crossed(
        county.network.lines, line[real], from_m[real], to_m[real], land_map, tolerance_m=county.limits["exact_joint"]
    )
    owner = owners.of_rows(over.land)
    once = np.unique(np.stack([over.stretch, over.from_m, owner]), axis=1, return_index=True)[1]
    count = len(owners.name) + 1
    return np.bincount(owner[once] % count, over.length_m[once], minlength=count)


def land_at(county: County, place: PlaceOnPipe, land_map: LandMap) -> np.ndarray:
    """Rows of the land at a place, both where it is on a boundary; NOBODY where there is none."""
    net = county.network
    xy = net.lines.points_at(net.pieces.line[[place.piece]], np.array([place.at_m]))
    rows = land_map.tree.query(shapely.points(xy)[0], predicate="dwithin", distance=county.limits["exact_joint"])
    return rows if len(rows) else np.array([NOBODY])
