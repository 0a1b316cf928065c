"""A reroute judged: its tie-in inverts, its fall with the chance of reverse, and all that the checks look at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..checks.case import Case
from ..county import County
from ..elevation.grade import UNKNOWN, call, p_reverse, sigma_of_fall_m
from ..elevation.ground import GroundSampler
from ..hydraulics.manning import least_grade, roughness
from ..tables import Land, Trees
from .ends import Flow, find_end, from_lower_end, which_is_up
from .extend import add_route, sample_near
from .meetings import Meetings, find_meetings
from .plan import Plan
from .stations import Stations, find_stations
from .tie_ins import TieIn, correlation, tie_ins

NAN = float("nan")


@dataclass(frozen=True)
class Verdict:
    """`fall_m` from the upper end to the lower one, negative where the pipe rises; `call` falls, reverse,
    cannot_tell or unknown. `p_least`: chance that the grade is at least `least_grade` (ratio, NaN: none known),
    which is `asked` or that of the least velocity. `ground_fall_m` is that of the ground, which decides nothing.
    """

    length_m: float
    fall_m: float
    sigma_m: float
    p_reverse: float
    call: str
    least_grade: float
    asked: bool
    p_least: float
    ground_fall_m: float

    @property
    def grade(self) -> float:
        return self.fall_m / self.length_m


@dataclass(frozen=True)
class Reroute:
    """What checks, tables and the page of a reroute look at.

    `case` holds the county with the new pipe as its last line, `line`, drawn from the lower end.
    """

    case: Case
    plan: Plan
    line: int
    lower: TieIn
    upper: TieIn
    flow: Flow
    meetings: Meetings
    stations: Stations
    verdict: Verdict

    @property
    def county(self) -> County:
        return self.case.county

    @property
    def network(self):
        """The network, for those who make a table of findings."""
        return self.case.network

    def invert_at(self, station_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Invert of the new pipe and its standard error, straight between the ends; NaN where one is unknown."""
        share = np.asarray(station_m, dtype=float) / self.verdict.length_m
        low, high = self.lower, self.upper
        return low.z_m + share * (high.z_m - low.z_m), low.sigma_m + share * (high.sigma_m - low.sigma_m)

    def ground_at(self, station_m: np.ndarray) -> np.ndarray:
        """Ground along the new pipe; NaN where there is none."""
        station_m = np.asarray(station_m, dtype=float)
        if self.case.ground is None:
            return np.full(len(station_m), np.nan)
        return self.case.ground.at(np.full(len(station_m), self.line), station_m)


def judge_reroute(
    county: County, plan: Plan, sampler: GroundSampler | None = None, trees: Trees | None = None,
    land: Land | None = None, ground_fault: str = "",
) -> Reroute:
    """Judge the planned pipe as a straight grade between its two tie-ins.

    `sampler` gives the ground; the pipes the route meets are sampled too unless `county` has their ground.
    """
    network = county.network
    if sampler is not None and county.ground is None:
        county = sample_near(county, plan.line, sampler)
    first, last = (find_end(network, plan.line.coords[k][:2]) for k in (0, -1))
    flow = which_is_up(network, first, last, plan, county.units)
    route = from_lower_end(plan.line, flow)
    low_end, high_end = (last, first) if flow.first_is_up else (first, last)
    lower, upper = tie_ins(county, low_end, high_end, plan)
    meetings = find_meetings(network, route)
    stations = find_stations(route, meetings, plan.fixed, county)
    shape = np.empty(1, dtype=object)
    shape[0] = route
    extended, line = add_route(
        county, replace(plan.route, geometry=shape), np.array([lower.z_m, upper.z_m]),
        np.array([lower.sigma_m, upper.sigma_m]), np.array([lower.source, upper.source]), stations.at_m, sampler,
    )
    reroute = Reroute(
        Case(extended, trees, land, ground_fault), plan, line, lower, upper, flow, meetings, stations,
        _NO_VERDICT,
    )
    return replace(reroute, verdict=_verdict(reroute, float(extended.network.lines.length_m[line])))


_NO_VERDICT = Verdict(NAN, NAN, NAN, NAN, UNKNOWN, NAN, False, NAN, NAN)


def _verdict(reroute: Reroute, length_m: float) -> Verdict:
    lower, upper, plan, limits = reroute.lower, reroute.upper, reroute.plan, reroute.case.limits
    given = np.isfinite(plan.invert_up_m) and np.isfinite(plan.invert_down_m)
    known = reroute.flow.sure or given
    fall_m = upper.z_m - lower.z_m if known else NAN
    sigma_m = float(sigma_of_fall_m(upper.sigma_m, lower.sigma_m, correlation(lower, upper, limits))) if known else NAN
    chance = float(p_reverse(fall_m, sigma_m))
    asked = bool(np.isfinite(plan.least_grade))
    least = plan.least_grade if asked else _velocity_grade(reroute)
    ground_m = reroute.ground_at(np.array([0.0, length_m]))
    return Verdict(
        length_m, fall_m, sigma_m, chance, str(call(chance, limits)), least, asked,
        1.0 - float(p_reverse(fall_m - least * length_m, sigma_m)), float(ground_m[1] - ground_m[0]),
    )


def _velocity_grade(reroute: Reroute) -> float:
    """Least grade by the least velocity; NaN where the size is unknown."""
    pipe, limits = reroute.plan.route, reroute.case.limits
    return float(least_grade(pipe.diameter_m, roughness(pipe.material, pipe.diameter_m, limits), limits)[0])
