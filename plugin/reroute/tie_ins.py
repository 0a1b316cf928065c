"""The inverts a new pipe has at its two ends: given, those of the pipes it ties in to, or worked out from a grade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..county import County
from ..elevation.sources import SOURCE_WORDS, Source
from ..limits import Limits
from .ends import PIPE, End
from .plan import Plan

NAN = float("nan")


@dataclass(frozen=True)
class TieIn:
    """The invert the new pipe has at one end, NaN unknown; `how` are words on what it rests on.

    `there_m` with its standard error is the invert of what stands there already: the pipe, or a structure.
    `from_ground`: the invert is ground less a depth, with an error of its own kind; such errors of two ends go
    together. `from_other`: it was worked out from the other end, whose error it shares.
    """

    end: End
    z_m: float
    sigma_m: float
    source: Source
    how: str
    there_m: float = NAN
    there_sigma_m: float = NAN
    from_ground: bool = False
    from_other: bool = False

    @property
    def is_own(self) -> bool:
        """Whether the new pipe has an invert of its own here, which is not simply that of what stands there."""
        return bool(np.isfinite(self.z_m) and self.z_m != self.there_m)


def tie_ins(county: County, low_end: End, high_end: End, plan: Plan) -> tuple[TieIn, TieIn]:
    """The lower and the upper one.

    With a grade, the pipe is laid from the end whose invert is given, else from the lower one, as pipe is laid, else
    from the upper one if only that is known.
    """
    lower = _tie_in(county, low_end, plan.invert_down_m, plan.invert_error_m)
    upper = _tie_in(county, high_end, plan.invert_up_m, plan.invert_error_m)
    if np.isnan(plan.grade):
        return lower, upper
    rise_m = plan.grade * plan.line.length
    downward = np.isfinite(plan.invert_up_m) or np.isnan(lower.z_m)
    if downward:
        return _laid(lower, upper, -rise_m, "upper", county.limits), upper
    return lower, _laid(upper, lower, rise_m, "lower", county.limits)


def correlation(lower: TieIn, upper: TieIn, limits: Limits) -> float:
    """Correlation of the errors of the two inverts.

    Those of one survey of the ground go together over short distances. An end that was worked out from the other has
    the error of that and, independent of it, what laying to grade adds.
    """
    for one, other in ((lower, upper), (upper, lower)):
        if one.from_other and np.isfinite(one.z_m):
            return other.sigma_m / one.sigma_m
    if not (lower.from_ground and upper.from_ground):
        return 0.0
    apart_m = np.hypot(*(np.array(lower.end.xy_m) - np.array(upper.end.xy_m)))
    covariance = limits["ground_error"] ** 2 * np.exp(-apart_m / limits["ground_correlation_length"])
    return float(covariance / (lower.sigma_m * upper.sigma_m))


def _laid(end: TieIn, start: TieIn, rise_m: float, which: str, limits: Limits) -> TieIn:
    """An end that comes out where the grade leads from the start."""
    known = np.isfinite(start.z_m)
    return TieIn(
        end.end, start.z_m + rise_m, float(np.hypot(start.sigma_m, limits["error_level"])),
        Source.STATED if known else Source.NONE,
        f"worked out from the {which} end and the grade" if known else SOURCE_WORDS[Source.NONE],
        end.there_m, end.there_sigma_m, from_other=True,
    )


def _tie_in(county: County, end: End, given_m: float, given_error_m: float) -> TieIn:
    """The given invert, else that of what stands there."""
    limits, told = county.limits, bool(np.isfinite(given_error_m))
    z_m, sigma_m, source, how = there = _there(county, end)
    if np.isfinite(given_m):
        error_m = given_error_m if told else limits["error_probe"]
        return TieIn(end, given_m, error_m, Source.STATED, "as given for this run", *there[:2])
    from_ground = source >= Source.PROBED_DEPTH and source != Source.NONE and not told
    if source != Source.NONE and told:
        sigma_m, how = given_error_m, f"{how}, error as given"
    return TieIn(end, z_m, sigma_m, source, how, z_m, sigma_m, from_ground)


def _there(county: County, end: End) -> tuple[float, float, Source, str]:
    """Invert, error and source of the best evidence of the pipe there, else of a structure there."""
    z_m, sigma_m, source = NAN, NAN, Source.NONE
    if end.kind == PIPE:
        found = county.evidence.invert_at(np.array([end.line]), np.array([end.place.at_m]))
        z_m, sigma_m, source = float(found.z_m[0]), float(found.sigma_m[0]), Source(int(found.source[0]))
    structure_m = float(county.network.structures.invert_m[end.structure]) if end.structure >= 0 else NAN
    if np.isfinite(structure_m) and source >= Source.PROBED_DEPTH:
        return structure_m, county.limits["error_probe"], Source.STATED, "invert of the structure there"
    return z_m, sigma_m, source, SOURCE_WORDS[source]
