"""Owners: their shares, through whose land their water runs, and who must be told.

An owner is a number: a row of Owners.name, or NOBODY for land in no polygon.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..tables import Land
from .owners import NOBODY

NOTHING = 1e-6  # share of a sum that is rounding


@dataclass(frozen=True)
class Owners:
    """Names of owners, and the owner of every row of Land. Land of an unknown owner stands for itself, by its name."""

    name: np.ndarray
    known: np.ndarray
    of_land: np.ndarray

    @classmethod
    def of(cls, land: Land) -> Owners:
        known = ~np.equal(land.owner, None)
        labels = [(True, owner) if owner is not None else (False, key) for owner, key in zip(land.owner, land.land_id)]
        number = {label: k for k, label in enumerate(dict.fromkeys(labels))}
        of_land = np.array([number[label] for label in labels], dtype=np.int64)
        first = np.unique(of_land, return_index=True)[1]
        name = np.where(known, land.owner, land.name)[first].astype(object)
        return cls(name, known[first], of_land)

    def of_rows(self, row: np.ndarray) -> np.ndarray:
        """Owners of rows of Land, NOBODY for NOBODY."""
        return np.append(self.of_land, NOBODY)[row]


@dataclass(frozen=True)
class OwnerShares:
    """Land by owner, largest first, with its share of the whole."""

    owner: np.ndarray
    area_m2: np.ndarray
    share: np.ndarray


def owner_shares(owner: np.ndarray, area_m2: np.ndarray) -> OwnerShares:
    """Sum areas by owner (or by row of Land: whatever the numbers mean)."""
    number, area = _sums(owner, area_m2)
    order = np.argsort(-area, kind="stable")
    total = area.sum()
    return OwnerShares(number[order], area[order], area[order] / total if total > 0 else area[order])


def to_tell(owner: np.ndarray, area_m2: np.ndarray, owner_here: np.ndarray) -> np.ndarray:
    """Owners to be told of a plugged place: those whose land drains through it, most land first; whose land it is on.

    `owner`, `area_m2`: parts of the land above the place; `owner_here`: owners of the land at the place.
    """
    above = owner_shares(owner, area_m2)
    concerned = np.concatenate([above.owner[above.area_m2 > 0], owner_here]).astype(np.int64)
    first = np.sort(np.unique(concerned, return_index=True)[1])
    return concerned[first][concerned[first] != NOBODY]


@dataclass(frozen=True)
class OwnerWater:
    """Land of an owner that drains through the lower end of a piece (or stretch) by way of it, where there is some."""

    piece: np.ndarray
    owner: np.ndarray
    area_m2: np.ndarray


def water_of_owners(
    piece: np.ndarray, owner: np.ndarray, area_m2: np.ndarray, system: np.ndarray,
    sum_down: Callable[[np.ndarray], np.ndarray], place_system: np.ndarray | None = None,
) -> OwnerWater:
    """Carry the land of every owner down the network.

    `piece`, `owner`, `area_m2`: land that pieces serve; `system`: number of the system of every piece;
    `sum_down` takes a figure of every piece and returns it with all from above. It is called as often as
    there are owners in the system that has most of them. Where it returns sums at other places than the pieces,
    `place_system` is the system of those, and `piece` of the answer is the number of the place.
    """
    place_system = system if place_system is None else place_system
    pair, back = np.unique(np.stack([system[piece], owner]), axis=1, return_inverse=True)
    back = back.ravel()
    first_of_system = np.searchsorted(pair[0], pair[0])
    turn = np.arange(pair.shape[1]) - first_of_system
    found = []
    for now in range(turn.max() + 1 if len(turn) else 0):
        mine = turn[back] == now
        total = sum_down(np.bincount(piece[mine], weights=area_m2[mine], minlength=len(system)))
        reached = np.flatnonzero(total > 0)
        here = np.searchsorted(pair[0], place_system[reached]) + now
        found.append((reached, pair[1][here], total[reached]))
    if not found:
        return OwnerWater(*(np.zeros(0, dtype=kind) for kind in (np.int64, np.int64, float)))
    return OwnerWater(*(np.concatenate(columns) for columns in zip(*found)))


def within_pieces(
    water: OwnerWater, stretch_piece: np.ndarray, steps_down: np.ndarray, own_stretch: np.ndarray,
    own_owner: np.ndarray, own_area_m2: np.ndarray,
) -> OwnerWater:
    """The same for stretches of pieces: without what joins below them on the same piece.

    `stretch_piece`: piece of every stretch; `steps_down`: its place on the piece in flow direction;
    `own_...`: land that stretches serve themselves.
    """
    stretch = np.argsort(stretch_piece, kind="stable")
    row, other = _pairs(water.piece, stretch_piece[stretch])
    stretch, owner = stretch[other], water.owner[row]
    own = _look_up(stretch, owner, own_stretch, own_owner, own_area_m2)
    order = np.lexsort((-steps_down[stretch], row))
    row, stretch, owner, own = row[order], stretch[order], owner[order], own[order]
    joined = np.cumsum(own) - own
    joined -= joined[np.searchsorted(row, row)]
    area = water.area_m2[row] - joined
    some = area > NOTHING * water.area_m2[row]
    return OwnerWater(stretch[some], owner[some], area[some])


@dataclass(frozen=True)
class Crossings:
    """Length of pipe through which water of `owner` runs under the land of `through`, longest first for each owner."""

    owner: np.ndarray
    through: np.ndarray
    length_m: np.ndarray


def crossings(water: OwnerWater, piece: np.ndarray, through: np.ndarray, length_m: np.ndarray) -> Crossings:
    """Through whose land the water of every owner runs, his own left out.

    Pieces (or stretches) as in `water`, each of one length, with the owners over it: `piece`, `through`,
    `length_m`. An owner on both sides of a pipe counts once.
    """
    _, single = np.unique(np.stack([piece, through]), axis=1, return_index=True)
    piece, through, length_m = piece[single], through[single], length_m[single]
    row, other = _pairs(water.piece, piece)
    owner, through, length_m = water.owner[row], through[other], length_m[other]
    foreign = (owner != through) & (owner != NOBODY)
    pair, back = np.unique(np.stack([owner[foreign], through[foreign]]), axis=1, return_inverse=True)
    length = np.bincount(back.ravel(), weights=length_m[foreign], minlength=pair.shape[1])
    order = np.lexsort((-length, pair[0]))
    return Crossings(pair[0][order], pair[1][order], length[order])


def _sums(number: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    numbers, back = np.unique(number, return_inverse=True)
    return numbers, np.bincount(back, weights=value, minlength=len(numbers))


def _pairs(wanted: np.ndarray, ordered: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """All (row in wanted, row in ordered) with equal values."""
    begin, end = np.searchsorted(ordered, wanted, side="left"), np.searchsorted(ordered, wanted, side="right")
    count = end - begin
    row = np.repeat(np.arange(len(wanted)), count)
    return row, np.arange(len(row)) + np.repeat(begin - (np.cumsum(count) - count), count)


def _look_up(
    stretch: np.ndarray, owner: np.ndarray, own_stretch: np.ndarray, own_owner: np.ndarray, own: np.ndarray
) -> np.ndarray:
    """Own land of (stretch, owner), 0 where there is none."""
    size = int(max(owner.max(initial=0), own_owner.max(initial=0))) + 2  # NOBODY is 0 in the key
    key, back = np.unique(own_stretch * size + own_owner + 1, return_inverse=True)
    known = np.bincount(back, weights=own, minlength=len(key))
    wanted = stretch * size + owner + 1
    place = np.minimum(np.searchsorted(key, wanted), max(len(key) - 1, 0))
    if not len(key):
        return np.zeros(len(wanted))
    return np.where(key[place] == wanted, known[place], 0.0)
