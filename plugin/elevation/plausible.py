"""Whether ground and measured inverts can belong together at all: one unit, one datum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..units import FOOT_M
from .evidence import Evidence

_RATIO_SLACK = 0.02


@dataclass(frozen=True)
class GroundFit:
    """Ground above measured inverts, over all points with both.

    `median_depth_m` is negative where pipes lie above the ground; `ratio` is ground over invert, as medians.
    `looks_like` is "feet" or "metres" where the ground seems to count in that unit and not the one it was
    taken for, else "".
    """

    points: int
    median_depth_m: float
    ratio: float
    implausible: bool
    looks_like: str


def fit_of_ground(evidence: Evidence) -> GroundFit:
    """Compare the ground with the measured inverts; without both there is nothing to doubt."""
    points = evidence.points
    if evidence.ground is None or not len(points):
        return GroundFit(0, np.nan, np.nan, False, "")
    ground_m = evidence.ground.at(points.line, points.at_m)
    both = np.isfinite(ground_m)
    if not both.any():
        return GroundFit(0, np.nan, np.nan, False, "")
    invert_m = points.z_m[both]
    depth_m = float(np.median(ground_m[both] - invert_m))
    middle_m = float(np.median(invert_m))
    ratio = float(np.median(ground_m[both])) / middle_m if middle_m else np.nan
    implausible = not 0.0 <= depth_m <= evidence.limits["implausible_depth"]
    return GroundFit(int(both.sum()), depth_m, ratio, implausible, _unit(ratio) if implausible else "")


def _unit(ratio: float) -> str:
    if abs(ratio * FOOT_M - 1.0) < _RATIO_SLACK:
        return "feet"
    return "metres" if abs(ratio / FOOT_M - 1.0) < _RATIO_SLACK else ""
