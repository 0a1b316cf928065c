"""Which lines come near each other: asked once, of their boxes, for all that looks at pairs of lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .lines import Lines


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


def near_pairs(lines: Lines, active: np.ndarray, reach_m: float) -> NearPairs:
    """Pairs of active lines whose boxes lie within `reach_m` of each other."""
    index = np.flatnonzero(active)
    low_x, low_y, high_x, high_y = shapely.bounds(lines.geometry[index]).T if len(index) else np.zeros((4, 0))
    boxes = shapely.box(low_x - reach_m, low_y - reach_m, high_x + reach_m, high_y + reach_m)
    row, hit = shapely.STRtree(lines.geometry[index]).query(boxes)
    different = row != hit
    return NearPairs(index[row[different]], index[hit[different]])
