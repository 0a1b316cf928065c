"""The land and the ways of every owner's water over a whole network."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .notices import Crossings, Owners, OwnerWater, crossings, water_of_owners, within_pieces
from .owners import LandMap, cut_at_land, land_crossed, split_by_land
from .served import ServedLand


@dataclass(frozen=True)
class OwnerWays:
    """`water`: land of every owner above the lower end of every piece; `crossings`: under whose land it runs.

    `own_...`: land that pieces serve themselves, by owner; `under_...`: length of pieces under land, by owner: pipe on
    the line between two owners counts for both, between two pieces of one owner's land once.

    An owner's water enters a stretch of pipe anywhere along it, so the stretch counts whole; stretches end
    where the pipe passes a boundary.
    """

    water: OwnerWater
    crossings: Crossings
    own_piece: np.ndarray
    own_owner: np.ndarray
    own_area_m2: np.ndarray
    under_piece: np.ndarray
    under_from_m: np.ndarray
    under_to_m: np.ndarray
    under_owner: np.ndarray

    @property
    def under_length_m(self) -> np.ndarray:
        return self.under_to_m - self.under_from_m


def owner_ways(
    served: ServedLand, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, direction: np.ndarray,
    system: np.ndarray, sum_down: Callable[[np.ndarray], np.ndarray], land: LandMap, owners: Owners,
    *, tolerance_m: float,
) -> OwnerWays:
    """Ways of the water of pieces `line`, `from_m`, `to_m` with their flow `direction` and `system`.

    `sum_down` is that of network.flow.Downward.
    """
    piece, begin, end = cut_at_land(served.lines, line, from_m, to_m, land, tolerance_m=tolerance_m)
    own = split_by_land(served, line[piece], begin, end, land)
    owner = owners.of_rows(own.land)
    water = water_of_owners(piece[own.stretch], owner, own.area_m2, system, sum_down)
    steps_down = np.where(direction[piece] < 0, -begin, begin)
    on_stretches = within_pieces(water, piece, steps_down, own.stretch, owner, own.area_m2)
    over = land_crossed(served.lines, line[piece], begin, end, land, tolerance_m=tolerance_m)
    through = owners.of_rows(over.land)
    ways = crossings(on_stretches, over.stretch, through, over.length_m)
    once = np.unique(np.stack([over.stretch, over.from_m, through]), axis=1, return_index=True)[1]
    return OwnerWays(
        water, ways, piece[own.stretch], owner, own.area_m2,
        piece[over.stretch[once]], over.from_m[once], over.to_m[once], through[once],
    )
