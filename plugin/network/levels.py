"""Levels of measured inverts at places of lines, straight between the measured points of one line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..elevation.along import Between, between
from ..elevation.points import InvertPoints
from .lines import Lines


@dataclass(frozen=True)
class Levels:
    """Measured inverts by place; NaN outside the measured points of a line. Other lines' inverts are not borrowed."""

    lines: Lines
    points: InvertPoints

    def level_at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        return self._between(line, at_m).straight(self.points.z_m)

    def sigma_at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Standard error of the level, straight between those of the points."""
        return self._between(line, at_m).straight(self.points.sigma_m)

    def _between(self, line: np.ndarray, at_m: np.ndarray) -> Between:
        return between(self.lines, self.points.line, self.points.at_m, line, np.asarray(at_m, dtype=float))

    def highest_inside(self, line: int, from_m: float, to_m: float) -> float:
        """Place of a measured point inside a stretch that is higher than both its ends; NaN without one."""
        begin, end = self.points.first[line], self.points.first[line + 1]
        at, z = self.points.at_m[begin:end], self.points.z_m[begin:end]
        inside = (at > from_m) & (at < to_m)
        if not inside.any():
            return float("nan")
        ends = np.interp([from_m, to_m], at, z, left=np.nan, right=np.nan)
        if not z[inside].max() > np.nanmax(np.append(ends, -np.inf)):
            return float("nan")
        return float(at[inside][np.argmax(z[inside])])
