"""Stretches of pipe within the root distance of trees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..limits import Limits
from ..tables import Trees
from .inside import cover_once, stretches_inside
from .lines import Lines

_QUARTER_SEGMENTS = 90  # a circle as 360 sides is 0.004 % short


@dataclass(frozen=True)
class NearTrees:
    """Stretches near trees: the nearest tree, its distance, the distance that counts, and the length of the part
    that lies within the distance of ordinary trees. `thirst_unknown`: only a thirsty tree would reach so far."""

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    tree: np.ndarray
    distance_m: np.ndarray
    limit_m: np.ndarray
    inner_m: np.ndarray
    thirst_unknown: np.ndarray


def near_trees(lines: Lines, line: np.ndarray, trees: Trees, limits: Limits) -> NearTrees:
    """Every stretch of the lines `line` within the distance of a tree, tree row or wood; overlaps count once.

    High thirst: limit tree_distance_high; ordinary: tree_distance_ordinary. Where the thirst is unknown the
    stretch beyond the ordinary distance is marked, since nobody can tell.
    """
    high, ordinary = limits["tree_distance_high"], limits["tree_distance_ordinary"]
    thirsty, unknown = trees.thirst == "high", np.equal(trees.thirst, None)
    reach = np.where(thirsty | unknown, high, ordinary)
    tree = shapely.STRtree(lines.geometry[line])
    of_tree, hit = tree.query(trees.geometry, predicate="dwithin", distance=reach)
    near_line = line[hit]
    row, from_m, to_m = stretches_inside(lines, near_line, _around(trees.geometry[of_tree], reach[of_tree]))
    one_line, one_tree = near_line[row], of_tree[row]
    outer = _merged(lines, trees, one_line, one_tree, from_m, to_m, reach)
    within = np.full(len(hit), ordinary)
    row, from_m, to_m = stretches_inside(lines, near_line, _around(trees.geometry[of_tree], within))
    inner = cover_once(near_line[row], from_m, to_m)[:3]
    return _with_inner(outer, inner, unknown, ordinary)


def _around(shapes: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
    return shapely.buffer(shapes, distance_m, quad_segs=_QUARTER_SEGMENTS)


def _merged(
    lines: Lines,
    trees: Trees,
    line: np.ndarray,
    tree: np.ndarray,
    from_m: np.ndarray,
    to_m: np.ndarray,
    reach: np.ndarray,
) -> tuple:
    """Overlapping stretches as one, with the nearest tree of each."""
    parts = lines.cut(line, from_m, to_m)
    distance = shapely.distance(parts, trees.geometry[tree])
    out_line, out_from, out_to, order, group = cover_once(line, from_m, to_m)
    if not len(out_line):
        empty = np.zeros(0)
        return out_line, out_from, out_to, out_line, empty, empty
    nearest = order[np.lexsort((distance[order], group))]
    first = np.flatnonzero(np.diff(np.sort(group), prepend=-1))
    best = nearest[first]
    return out_line, out_from, out_to, tree[best], distance[best], reach[tree[best]]


def _with_inner(outer: tuple, inner: tuple, unknown: np.ndarray, ordinary: float) -> NearTrees:
    """Add to each stretch the length within the ordinary distance."""
    line, from_m, to_m, tree, distance, limit = outer
    inner_line, inner_from, inner_to = inner
    size = max(float(to_m.max(initial=0.0)), float(inner_to.max(initial=0.0))) + 1.0
    begin = line * size + from_m
    of = np.searchsorted(begin, inner_line * size + inner_from + 1e-6, side="right") - 1
    inner_m = np.zeros(len(line))
    np.add.at(inner_m, of, inner_to - inner_from)
    thirst_unknown = unknown[tree] & (distance > ordinary) if len(tree) else np.zeros(0, dtype=bool)
    return NearTrees(line, from_m, to_m, tree, distance, limit, inner_m, thirst_unknown)
