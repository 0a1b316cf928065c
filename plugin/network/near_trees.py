"""Stretches of pipe within the root distance of trees."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import shapely

from ..elevation.ranges import Ranges
from ..elevation.runs import uncovered
from ..limits import Limits
from ..tables import Trees
from .inside import cover_once, stretches_inside
from .lines import Lines
from .parts import query_in_parts
from .ranges import overlaps

_LEAST_M = 0.01  # shorter stretches are rounding of circles
_QUARTER_SEGMENTS = 45  # a circle as 180 sides is 0.015 % short


@dataclass(frozen=True)
class NearTrees:
    """Stretches near trees: the nearest tree, its distance, the distance that counts, and the length of the part
    that lies within the distance of ordinary trees. `thirst_unknown`: only a thirsty tree would reach so far, and
    nobody knows whether this one is."""

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    tree: np.ndarray
    distance_m: np.ndarray
    limit_m: np.ndarray
    inner_m: np.ndarray
    thirst_unknown: np.ndarray

    def __len__(self) -> int:
        return len(self.line)


@dataclass(frozen=True)
class _Within(Ranges):
    """Stretches within some distance of trees, overlapping; the tree of each."""

    tree: np.ndarray


def near_trees(lines: Lines, line: np.ndarray, trees: Trees, limits: Limits) -> NearTrees:
    """Every stretch of the lines `line` within the distance of a tree, tree row or wood; overlaps count once.

    High thirst: limit tree_distance_high; ordinary: tree_distance_ordinary. A tree of unknown thirst reaches as
    far as an ordinary one; beyond, up to the distance of a thirsty one, its stretches are kept apart and marked.
    """
    high, ordinary = limits["tree_distance_high"], limits["tree_distance_ordinary"]
    thirsty, unknown = trees.thirst == "high", np.equal(trees.thirst, None)
    inner = _within(lines, line, trees, np.arange(len(trees)), ordinary)
    outer = _within(lines, line, trees, np.flatnonzero(thirsty | unknown), high)
    far = unknown[outer.tree]
    sure = _joined(_picked(inner, ~thirsty[inner.tree]), _picked(outer, ~far))
    doubtful = _beyond(lines, line, _picked(outer, far), sure)
    once = cover_once(inner.line, inner.from_m, inner.to_m)[:3]
    parts = [
        _nearest(lines, trees, within, once, np.where(thirsty | doubt, high, ordinary), doubt)
        for within, doubt in ((sure, False), (doubtful, True))
    ]
    return NearTrees(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(NearTrees)))


def tree_zones(lines: Lines, line: np.ndarray, trees: Trees, limits: Limits) -> tuple[Ranges, Ranges]:
    """Of the lines `line` the stretches within the distance of ordinary trees of any tree, and all within a distance
    that counts; a tree of unknown thirst is taken for a thirsty one. Each place once."""
    near = _within(lines, line, trees, np.arange(len(trees)), limits["tree_distance_ordinary"])
    far = _within(lines, line, trees, np.flatnonzero(trees.thirst != "ordinary"), limits["tree_distance_high"])
    every = _joined(near, far)
    near, every = (Ranges(*cover_once(zone.line, zone.from_m, zone.to_m)[:3]) for zone in (near, every))
    return near, every


def _picked(within: _Within, which: np.ndarray) -> _Within:
    return _Within(*(getattr(within, f.name)[which] for f in fields(_Within)))


def _joined(first: _Within, second: _Within) -> _Within:
    return _Within(*(np.concatenate([getattr(first, f.name), getattr(second, f.name)]) for f in fields(_Within)))


def _within(lines: Lines, line: np.ndarray, trees: Trees, rows: np.ndarray, distance_m: float) -> _Within:
    """Stretches of the lines `line` within a distance of the trees `rows`, a row each."""
    shapes = trees.geometry[rows]
    tree = shapely.STRtree(lines.geometry[line])
    of, hit = query_in_parts(tree, shapes, predicate="dwithin", distance=distance_m)
    around = shapely.buffer(shapes, distance_m, quad_segs=_QUARTER_SEGMENTS)
    pair, from_m, to_m = stretches_inside(lines, line[hit], around[of])
    return _Within(line[hit][pair], from_m, to_m, rows[of[pair]])


def _beyond(lines: Lines, line: np.ndarray, within: _Within, sure: _Within) -> _Within:
    """The parts of stretches that lie on no sure stretch."""
    used = np.zeros(len(lines), dtype=bool)
    used[line] = True
    covered = Ranges(*cover_once(sure.line, sure.from_m, sure.to_m)[:3])
    free = uncovered(covered, lines, used)
    row, _, from_m, to_m = overlaps(
        lines, within.line, within.from_m, within.to_m, free.line, free.from_m, free.to_m
    )
    real = to_m - from_m > _LEAST_M
    return _Within(within.line[row[real]], from_m[real], to_m[real], within.tree[row[real]])


def _nearest(
    lines: Lines, trees: Trees, within: _Within, inner: tuple, limit_m: np.ndarray, doubt: bool
) -> NearTrees:
    """Overlapping stretches as one, with the nearest tree of each and the length that lies on `inner` ranges."""
    parts = lines.cut(within.line, within.from_m, within.to_m)
    distance_m = shapely.distance(parts, trees.geometry[within.tree])
    line, from_m, to_m, order, group = cover_once(within.line, within.from_m, within.to_m)
    best = order[np.lexsort((distance_m[order], group))][np.flatnonzero(np.diff(group, prepend=-1))]
    tree = within.tree[best]
    row, _, low, high = overlaps(lines, line, from_m, to_m, *inner)
    inner_m = np.bincount(row, np.maximum(high - low, 0.0), minlength=len(line))
    return NearTrees(line, from_m, to_m, tree, distance_m[best], limit_m[tree], inner_m, np.full(len(line), doubt))
