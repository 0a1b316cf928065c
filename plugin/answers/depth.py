"""A depth as a crew measures it, from the ground down to the top of the pipe, and what follows of the invert."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..length_text import show_feet_and_inches
from ..limits import Limits
from ..units import Units


@dataclass(frozen=True)
class Measured:
    """What follows from a depth to the top of a pipe, in metres; NaN where it is not known.

    `wall_m` is assumed as a share of the size unless it was given. `error_m` is a standard error: of `invert_depth_m`
    that of a stated depth, of `invert_m` with that of the ground.
    """

    top_depth_m: float
    diameter_m: float
    wall_m: float
    wall_assumed: bool
    ground_m: float
    depth_error_m: float
    ground_error_m: float

    @property
    def invert_depth_m(self) -> float:
        """Ground to invert: to the top of the pipe, one wall and the inside diameter."""
        return self.top_depth_m + self.wall_m + self.diameter_m

    @property
    def pipe_top_m(self) -> float:
        return self.ground_m - self.top_depth_m

    @property
    def invert_m(self) -> float:
        return self.ground_m - self.invert_depth_m

    @property
    def elevation_error_m(self) -> float:
        return math.hypot(self.depth_error_m, self.ground_error_m)


def measured(
    top_depth_m: float, diameter_m: float, ground_m: float, limits: Limits, wall_m: float = math.nan
) -> Measured:
    """What a depth from the ground to the outer top of a pipe tells; `wall_m`: if somebody knows it."""
    assumed = math.isnan(wall_m)
    wall_m = limits["wall_share"] * diameter_m if assumed else wall_m
    return Measured(top_depth_m, diameter_m, wall_m, assumed, ground_m, limits["error_depth_stated"],
                    limits["ground_error"])


def said_depth(found: Measured, units: Units, ground: str) -> list[str]:
    """Sentences: the depth to the invert or why there is none; the invert with its error or why there is none.

    `ground`: name of the raster the ground was taken from; ''.
    """
    return [_said_invert_depth(found, units), _said_invert(found, units, ground)]


def said_understood(depth_m: float, units: Units, limits: Limits) -> str:
    """How a depth that was typed is read, and a question where drains hardly lie that deep."""
    tape = f" ({show_feet_and_inches(depth_m, units.foot_m)})" if units.is_us else ""
    said = f"= {_length(depth_m, units)}{tape}"
    if depth_m > limits["greatest_depth"]:
        deepest = _length(limits["greatest_depth"], units)
        said += f". Deeper than drains are laid as a rule ({deepest}): is the unit right?"
    return said


def _said_invert_depth(found: Measured, units: Units) -> str:
    top = f"The top of the pipe is {_length(found.top_depth_m, units)} below ground"
    if math.isnan(found.diameter_m):
        return f"{top}. The depth to its invert is left open: the size of the pipe is unknown."
    size, small = units.diameter_m, units.diameter_name
    wall = f"{found.wall_m / size:.2g} {small} of wall" + (", assumed" if found.wall_assumed else "")
    return (f"{top}; its invert {_length(found.invert_depth_m, units)}, with {found.diameter_m / size:g} {small} "
            f"inside and {wall}.")


def _said_invert(found: Measured, units: Units, ground: str) -> str:
    if math.isnan(found.ground_m):
        return "No level follows: the ground here is unknown."
    error = f"\u00b1 {found.elevation_error_m / units.length_m:.2f} {units.length_name} (one standard error)"
    by = f"By the ground of '{ground}' ({_length(found.ground_m, units)}) "
    if math.isnan(found.invert_m):
        return f"{by}the top of the pipe is at {_length(found.pipe_top_m, units)}, {error}."
    return f"{by}the invert is at {_length(found.invert_m, units)}, {error}."


def _length(length_m: float, units: Units) -> str:
    return units.show_length(length_m, 2)
