"""Whose way the water of the land takes before and after a change, square metre by square metre.

Land moves from one outlet to another in two ways: pipe that serves it drains elsewhere, or new pipe takes it over. So
the strips of served land before and after are laid over each other, where something changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely

from .outlets import Drained

NOT_DRAINED = -3

# numbers that mean the same outlets before and after
Label = Callable[[Drained, np.ndarray], np.ndarray]

_NEGLIGIBLE_M2 = 2.0  # half of a thousandth of an acre
_ROUNDING = 0.005  # of a strip: where its width changes unevenly it is drawn within a few hundredths of a metre


@dataclass(frozen=True)
class Moves:
    """Land that changes its outlet: labels of the outlets before and after, area, shape, and the drains (rows) that
    served it before, or serve it now where none did."""

    before: np.ndarray
    after: np.ndarray
    area_m2: np.ndarray
    shape: np.ndarray
    drains: list[np.ndarray]


@dataclass(frozen=True)
class _Strips:
    """Served land of stretches, with the parts of it by outlet: those of strip i are `first[i]:first[i + 1]` of `label`
    and `share`."""

    drain: np.ndarray
    shape: np.ndarray
    area_m2: np.ndarray
    first: np.ndarray
    label: np.ndarray
    share: np.ndarray

    def parts(self, row: int) -> dict[int, float]:
        rows = slice(self.first[row], self.first[row + 1])
        return dict(zip(self.label[rows].tolist(), self.share[rows].tolist()))


class _Part(NamedTuple):
    before: int
    after: int
    area_m2: float
    shape: object
    drain: int


def land_moves(before: Drained, after: Drained, changed: np.ndarray, label: Label) -> Moves:
    """Land by outlet before and after, where the two differ.

    `changed`: rows of the drains of `after` (those of `before` come first in it) whose shape or land can have
    changed; drains that drain elsewhere are looked at too. What a drain that is redrawn loses in one place and gains
    in another moves with it.
    """
    drains = np.union1d(changed, _drain_elsewhere(before, after, label))
    old, new = _strips(before, drains, label), _strips(after, drains, label)
    one, two = shapely.STRtree(new.shape).query(old.shape, predicate="intersects")
    shape = shapely.intersection(old.shape[one], new.shape[two])
    drawn = shapely.area(old.shape)
    area = shapely.area(shape) * (old.area_m2 / np.where(drawn > 0, drawn, 1.0))[one]
    some = area > _ROUNDING * np.minimum(old.area_m2[one], new.area_m2[two])
    one, two, shape, area = one[some], two[some], shape[some], area[some]
    parts = list(_on_the_same_ground(old, new, one, two, area, shape))
    parts += _elsewhere(_Rest.of(old, area, one, new.shape[two]), _Rest.of(new, area, two, old.shape[one]))
    return _gathered(parts)


def _drain_elsewhere(before: Drained, after: Drained, label: Label) -> np.ndarray:
    """Drains of both whose land goes to other outlets, or in other parts."""
    tables = []
    for drained in (before, after):
        county, shares = drained.county, drained.shares
        tables.append((
            county.network.piece_drain[shares.piece], label(drained, shares.outlet),
            county.piece_area_m2[shares.piece] * shares.share,
        ))
    count = len(before.county.network.drains)
    labels, back = np.unique(np.concatenate([tables[0][1], tables[1][1]]), return_inverse=True)
    split, width = len(tables[0][1]), max(len(labels), 1)
    sums = [
        np.bincount((drain * width + place)[drain < count], weights=area[drain < count], minlength=count * width)
        for (drain, _, area), place in zip(tables, (back[:split], back[split:]))
    ]
    return np.unique(np.flatnonzero(np.abs(sums[0] - sums[1]) > _NEGLIGIBLE_M2) // width)


def _strips(drained: Drained, drains: np.ndarray, label: Label) -> _Strips:
    county, shares = drained.county, drained.shares
    net = county.network
    pieces = np.flatnonzero(np.isin(net.piece_drain, drains) & (county.piece_area_m2 > 0))
    begin, end = (np.searchsorted(shares.piece, pieces, side=side) for side in ("left", "right"))
    count = end - begin
    rows = np.repeat(begin - (np.cumsum(count) - count), count) + np.arange(count.sum())
    shape = county.served.polygons(net.pieces.line[pieces], net.pieces.from_m[pieces], net.pieces.to_m[pieces])
    return _Strips(
        net.piece_drain[pieces], shape, county.piece_area_m2[pieces], np.concatenate([[0], np.cumsum(count)]),
        label(drained, shares.outlet[rows]), shares.share[rows],
    )


def _on_the_same_ground(
    old: _Strips, new: _Strips, one: np.ndarray, two: np.ndarray, area: np.ndarray, shape: np.ndarray
) -> Iterator[_Part]:
    """Land that is served before and after. What can stay with its outlet counts as staying."""
    whole = (np.diff(old.first)[one] == 1) & (np.diff(new.first)[two] == 1)
    before, after = old.label[old.first[one[whole]]], new.label[new.first[two[whole]]]
    for k in np.flatnonzero(before != after):
        row = np.flatnonzero(whole)[k]
        yield _Part(int(before[k]), int(after[k]), float(area[row]), shape[row], int(old.drain[one[row]]))
    for k in np.flatnonzero(~whole).tolist():  # pipe that drains to several outlets is rare
        leaves, comes = _differences(old.parts(one[k]), new.parts(two[k]))
        yield from _coupled(leaves, comes, float(area[k]), shape[k], int(old.drain[one[k]]))


def _differences(before: dict[int, float], after: dict[int, float]) -> tuple[dict[int, float], dict[int, float]]:
    """What leaves and what comes to each outlet."""
    leaves = {k: share - min(share, after.get(k, 0.0)) for k, share in before.items()}
    comes = {k: share - min(share, before.get(k, 0.0)) for k, share in after.items()}
    return leaves, comes


def _coupled(
    leaves: dict[int, float], comes: dict[int, float], unit_m2: float, shape: object, drain: int
) -> Iterator[_Part]:
    total = sum(comes.values())
    for out, part in leaves.items():
        for into, other in comes.items():
            if part > 0.0 and other > 0.0:
                yield _Part(out, into, unit_m2 * part * other / total, shape, drain)


@dataclass(frozen=True)
class _Rest:
    """By strip: land that nothing on the other side serves. What is below `noise_m2` may be rounding."""

    strips: _Strips
    area_m2: np.ndarray
    noise_m2: np.ndarray
    others: Callable[[int], np.ndarray]

    @classmethod
    def of(cls, strips: _Strips, area: np.ndarray, row: np.ndarray, others: np.ndarray) -> _Rest:
        rest = strips.area_m2 - np.bincount(row, weights=area, minlength=len(strips.area_m2))
        return cls(strips, rest, _NEGLIGIBLE_M2 + _ROUNDING * strips.area_m2, lambda strip: others[row == strip])

    def by_drain(self, least_m2: np.ndarray) -> dict[int, list[int]]:
        """Strips with a rest above `least_m2`, by drain."""
        found: dict[int, list[int]] = {}
        for strip in np.flatnonzero(self.area_m2 > least_m2).tolist():
            found.setdefault(int(self.strips.drain[strip]), []).append(strip)
        return found

    def parts(self, strip: int, share: float) -> Iterator[_Part]:
        """A share of a rest by outlet; `before` and `after` are both its own."""
        shape = shapely.difference(self.strips.shape[strip], shapely.union_all(self.others(strip)))
        for outlet, part in self.strips.parts(strip).items():
            yield _Part(outlet, outlet, float(self.area_m2[strip]) * part * share, shape, int(self.strips.drain[strip]))


def _elsewhere(lost: _Rest, gained: _Rest) -> Iterator[_Part]:
    """Land that moves with a drain that is redrawn; what is left is drained no more, or for the first time."""
    small = np.full(1, _NEGLIGIBLE_M2)
    out, into = lost.by_drain(small), gained.by_drain(small)
    moves = {}
    for drain in sorted(set(out) & set(into)):
        less, more = (float(rest.area_m2[strips].sum()) for rest, strips in ((lost, out[drain]), (gained, into[drain])))
        both = moves[drain] = min(less, more)
        leaves = [part for strip in out[drain] for part in lost.parts(strip, both / less)]
        comes = [part for strip in into[drain] for part in gained.parts(strip, both / more)]
        shape = shapely.union_all(np.array([part.shape for part in leaves], dtype=object))
        yield from _coupled(*_differences(_by_outlet(leaves), _by_outlet(comes)), 1.0, shape, drain)
    for rest, change in ((lost, {"after": NOT_DRAINED}), (gained, {"before": NOT_DRAINED})):
        for drain, strips in rest.by_drain(rest.noise_m2).items():
            left = 1.0 - moves.get(drain, 0.0) / float(rest.area_m2[strips].sum())
            if left > 0.0:
                yield from (part._replace(**change) for strip in strips for part in rest.parts(strip, left))


def _by_outlet(parts: list[_Part]) -> dict[int, float]:
    sums: dict[int, float] = {}
    for part in parts:
        sums[part.before] = sums.get(part.before, 0.0) + part.area_m2
    return sums


def _gathered(parts: list[_Part]) -> Moves:
    """One row a pair of outlets, most land first."""
    pairs: dict[tuple[int, int], list[_Part]] = {}
    for part in parts:
        pairs.setdefault((part.before, part.after), []).append(part)
    sums = {pair: sum(part.area_m2 for part in own) for pair, own in pairs.items()}
    order = sorted((pair for pair in pairs if sums[pair] > _NEGLIGIBLE_M2), key=lambda pair: -sums[pair])
    shapes = np.empty(len(order), dtype=object)
    shapes[:] = [_merged([part.shape for part in pairs[pair] if part.area_m2 > 0.0]) for pair in order]
    labels = np.array(order, dtype=np.int64).reshape(-1, 2)
    drains = [np.unique([part.drain for part in pairs[pair] if part.area_m2 > _NEGLIGIBLE_M2]) for pair in order]
    return Moves(labels[:, 0], labels[:, 1], np.array([sums[pair] for pair in order], dtype=float), shapes, drains)


def _merged(shapes: list) -> shapely.MultiPolygon:
    """One multi-polygon; strips that touch are drawn together."""
    whole = shapely.union_all(np.array(shapes, dtype=object), grid_size=0.001)
    return shapely.MultiPolygon([part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"])
