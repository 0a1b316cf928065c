"""Which lines come near each other: asked once, of their boxes, for all that looks at pairs of lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .lines import Lines
from .parts import in_parts, query_in_parts


@dataclass(frozen=True)
class NearPairs:
    """Pairs of different lines whose boxes come within reach of each other; every pair stands both ways round."""

    line: np.ndarray
    other: np.ndarray

    def where(self, keep: np.ndarray) -> NearPairs:
        return NearPairs(self.line[keep], self.other[keep])

    def among(self, active: np.ndarray) -> NearPairs:
        """The pairs of active lines."""
        return self.where(active[self.line] & active[self.other])

    def once(self) -> NearPairs:
        """Each pair once, the line drawn first as `line`."""
        return self.where(self.line < self.other)


@dataclass(frozen=True)
class LineIndex:
    """Finds active lines by place. The tree is built once, over the lines `line`, and asked for fewer later."""

    tree: shapely.STRtree
    line: np.ndarray
    active: np.ndarray

    @classmethod
    def of(cls, lines: Lines, active: np.ndarray) -> LineIndex:
        line = np.flatnonzero(active)
        return cls(shapely.STRtree(lines.geometry[line]), line, active)

    def among(self, active: np.ndarray) -> LineIndex:
        """The same for the active ones only."""
        return LineIndex(self.tree, self.line, active)

    def within(self, xy: np.ndarray, distance_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Rows of points and the active lines within a distance of them."""
        row, hit = query_in_parts(self.tree, shapely.points(xy), predicate="dwithin", distance=distance_m)
        keep = self.active[self.line[hit]]
        return row[keep], self.line[hit[keep]]


def near_pairs(lines: Lines, index: LineIndex, reach_m: float) -> NearPairs:
    """Pairs of lines of the index whose boxes lie within `reach_m` of each other."""
    corners = shapely.bounds(lines.geometry[index.line]).reshape(-1, 2, 2) + np.array([[-reach_m], [reach_m]])
    diagonals = in_parts(shapely.linestrings, corners)  # the tree looks at boxes only: a diagonal has the same one
    row, hit = query_in_parts(index.tree, diagonals)
    different = row != hit
    return NearPairs(index.line[row[different]], index.line[hit[different]])


def near_any(shapes: np.ndarray, few: np.ndarray, reach_m: float) -> np.ndarray:
    """Which of many shapes lie within reach of any of a few."""
    near = np.zeros(len(shapes), dtype=bool)
    if not len(few):
        return near
    around = shapely.total_bounds(few) + np.array([-reach_m, -reach_m, reach_m, reach_m])
    low_x, low_y, high_x, high_y = shapely.bounds(shapes).reshape(-1, 4).T
    inside = (low_x <= around[2]) & (high_x >= around[0]) & (low_y <= around[3]) & (high_y >= around[1])
    rows = np.flatnonzero(inside)
    near[rows[shapely.STRtree(few).query(shapes[rows], predicate="dwithin", distance=reach_m)[0]]] = True
    return near
