"""A new pipe while it is drawn: its profile, the verdict in words, and the figures to compare alternatives by."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas
import numpy as np
import shapely

from ..checks.ground_fault import ground_fault
from ..checks.run import Findings, run_checks
from ..county import County
from ..elevation.grade import UNKNOWN
from ..elevation.ground import GroundSampler
from ..report.cautions import CAUTIONS
from ..report.markup import plural, show_number, show_probability
from ..report.profile_data import Profile
from ..report.verdict import reroute_verdict
from ..reroute.checks import CHECKS
from ..reroute.content import reroute_profile
from ..reroute.ends import LOOSE
from ..reroute.extend import sample_near
from ..reroute.judge import Reroute, judge_reroute
from ..reroute.left_behind import LeftBehind, find_left_behind
from ..reroute.plan import Plan, RouteError, one_route
from ..reroute.tie_checks import climbs
from ..reroute.words import (
    MINUS,
    fall_sentences,
    further_sentences,
    grade_words,
    left_sentences,
    serious_sentences,
)
from ..tables import Drains, Land, Trees
from .answer import Answer, Section

MOST_ALTERNATIVES = 5
NAN = float("nan")


@dataclass(frozen=True)
class Asked:
    """What was drawn and typed; metres, ratios; NaN or None where nothing was typed. `xy_m`: the vertices."""

    name: str
    xy_m: np.ndarray
    diameter_m: float = NAN
    material: str | None = None
    openings: str | None = None
    invert_up_m: float = NAN
    invert_down_m: float = NAN
    invert_error_m: float = NAN
    least_grade: float = NAN
    grade: float = NAN

    def plan(self) -> Plan:
        """Raises reroute.plan.RouteError where the line cannot be judged."""
        if len(self.xy_m) < 2:
            raise RouteError("Draw the new pipe from one end to the other: at least two points.")
        drawn = geopandas.GeoDataFrame({"drain_id": [self.name]}, geometry=[shapely.LineString(self.xy_m)])
        route = one_route(
            Drains.from_frame(drawn), self.name,
            diameter_m=None if np.isnan(self.diameter_m) else self.diameter_m, material=self.material,
            openings=self.openings,
        )
        return Plan(route, self.invert_up_m, self.invert_down_m, self.invert_error_m, self.least_grade,
                    grade=self.grade)


@dataclass(frozen=True)
class Alternative:
    """A judged line with all that is shown of it."""

    asked: Asked
    reroute: Reroute
    findings: Findings
    left: LeftBehind | None
    profile: Profile

    @property
    def name(self) -> str:
        return self.asked.name

    @property
    def headline(self) -> str:
        """The verdict on its fall, and that water would have to climb where it ties in."""
        verdict = self.reroute.verdict
        return reroute_verdict(verdict.call, verdict.p_reverse, climbs(self.reroute))

    def place_at(self, station_m: float) -> tuple[float, float]:
        """Where a station of the profile lies, in metres of the plan."""
        lines, line = self.reroute.network.lines, np.array([self.reroute.line])
        return tuple(lines.points_at(line, np.array([station_m]))[0].tolist())

    def station_near(self, xy_m: tuple[float, float]) -> float:
        """The station nearest to a place of the plan."""
        return float(shapely.line_locate_point(self.reroute.network.lines.geometry[self.reroute.line],
                                               shapely.Point(*xy_m)))


def judge(
    county: County, asked: Asked, sampler: GroundSampler | None = None, ground_name: str = "",
    trees: Trees | None = None, land: Land | None = None,
) -> Alternative:
    """Judge a drawn line; raises reroute.plan.RouteError with a sentence where that cannot be done."""
    plan, whole = asked.plan(), county
    fault, county = "", replace(county, ground=None)
    if sampler is not None:
        near = sample_near(county, plan.line, sampler)
        fault = ground_fault(near, ground_name)
        county, sampler = (county, None) if fault else (near, sampler)
    reroute = judge_reroute(county, plan, sampler, trees, land, fault)
    results = run_checks(reroute, CHECKS)
    return Alternative(asked, reroute, results.findings, find_left_behind(reroute, whole), reroute_profile(reroute))


def explain(alternative: Alternative) -> Answer:
    """Verdict, what bears on it, what else was found, and the usual cautions."""
    reroute, findings = alternative.reroute, alternative.findings
    sections = [
        Section("The new pipe", (*fall_sentences(reroute), *serious_sentences(findings))),
        Section("On its way", tuple(further_sentences(reroute, findings))),
        Section("Left behind", left_sentences(alternative.left, alternative.reroute.county.units)),
        Section("Before you dig", tuple(f"{one.title}. {one.text}" for one in CAUTIONS)),
    ]
    warnings = () if reroute.case.ground is not None else (
        reroute.case.ground_fault or "No ground is known here: earth above the pipe and depth of trench are unknown.",
    )
    return Answer(f"{alternative.name}: {alternative.headline}", tuple(s for s in sections if s.sentences), warnings)


FIGURES = ("Length", "Fall", "Grade", "Chance it runs backwards", "Least grade asked for", "Where it ties in",
           "Deepest cut", "Least earth above", "Near trees", "Pipes met", "Left behind")


def figures(alternative: Alternative) -> tuple[str, ...]:
    """One column of the comparison, in the order of FIGURES; unknown is said so."""
    reroute, units = alternative.reroute, alternative.reroute.county.units
    verdict = reroute.verdict
    known = verdict.call != UNKNOWN
    depth_m = alternative.profile.ground_m - alternative.profile.invert_m
    cover_m = depth_m - alternative.profile.crown_m + alternative.profile.invert_m
    near_m = sum(tree.to_m - tree.from_m for tree in alternative.profile.trees)
    return (
        units.show_length(verdict.length_m),
        units.show_length(verdict.fall_m, 3).replace("-", MINUS) if known else "unknown",
        grade_words(verdict.grade) if known else "unknown",
        show_probability(verdict.p_reverse) if known else "unknown",
        grade_words(verdict.least_grade) if np.isfinite(verdict.least_grade) else "none",
        _step_words(reroute),
        _extreme(depth_m, np.nanmax, units),
        _extreme(cover_m, np.nanmin, units),
        "unknown" if reroute.case.trees is None else units.show_length(near_m),
        f"{len(reroute.meetings):,}",
        _left_words(alternative),
    )


def _extreme(values_m: np.ndarray, pick, units) -> str:
    if not np.isfinite(values_m).any():
        return "unknown"
    return show_number(float(pick(values_m)) / units.length_m, units.length_name)


def _step_words(reroute: Reroute) -> str:
    """Whether the water can step down at both ends; those that have simply the invert of the pipe there can."""
    known = all(np.isfinite(tie.there_m) or tie.end.kind == LOOSE for tie in (reroute.lower, reroute.upper))
    return climbs(reroute) or ("no climb" if known else "unknown")


def _left_words(alternative: Alternative) -> str:
    left, units = alternative.left, alternative.reroute.county.units
    if left is None:
        return "not known"
    return f"{plural(left.count, 'drain')}, {left.area_m2 / units.area_m2:,.3f} {units.area_name}"


def proposed_row(alternative: Alternative, role: str) -> dict[str, object]:
    """The new pipe as a row of drains with status proposed, in the units of its archive; None is unknown.

    The line is drawn as it was asked; its inverts are those of the ends as drawn.
    """
    reroute, units = alternative.reroute, alternative.reroute.county.units
    first, last = (reroute.upper, reroute.lower) if reroute.flow.first_is_up else (reroute.lower, reroute.upper)
    pipe = reroute.plan.route

    def known(value_si: float, size: float) -> float | None:
        return float(value_si / size) if np.isfinite(value_si) else None

    sigma_m = np.array([first.sigma_m, last.sigma_m])[np.isfinite([first.z_m, last.z_m])]
    return {
        "name": alternative.name, "role": role, "status": "proposed", "evidence": "assumed",
        "material": pipe.material[0], "openings": pipe.openings[0],
        "diameter": known(reroute.plan.diameter_m, units.diameter_m),
        "invert_start": known(first.z_m, units.length_m), "invert_end": known(last.z_m, units.length_m),
        "invert_error": known(float(sigma_m.max()), units.length_m) if len(sigma_m) else None,
        "note": f"Reroute drawn as a proposal. {alternative.headline}",
    }
