"""Reroutes for tests: routes and figures in feet go in, what people read comes out."""

from __future__ import annotations

from functools import lru_cache
from types import SimpleNamespace

import builders as b
import numpy as np
import shapely
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.reroute.checks import CHECKS
from fallkeeper.plugin.reroute.judge import judge_reroute
from fallkeeper.plugin.reroute.plan import FixedPoints, Plan, one_route
from fallkeeper.plugin.reroute.stations import station_columns
from fallkeeper.plugin.result_tables import findings_table
from fallkeeper.plugin.tables import Drains, Land, Structures, Trees
from fallkeeper.plugin.units import US_SURVEY_FOOT_M, Units
from fallkeeper.sample_project.rows import ground_ft
from scenario import UNITS, scenario_frames

R1 = ((1000, 1075), (900, 1075), (900, 725), (1000, 725))
R2 = ((1000, 1075), (900, 600))


@lru_cache
def sample_county():
    """The sample county with main B in one piece, its trees and land."""
    frames = scenario_frames(bridged=True)
    network = build_network(Drains.from_frame(frames["drains"]), Structures.from_frame(frames["structures"]))
    return SimpleNamespace(
        county=County(network, Limits(foot_m=US_SURVEY_FOOT_M), UNITS), trees=Trees.from_frame(frames["tree_rows"]),
        land=Land.from_frame(frames["land"]), ground=ground_ft, foot_m=US_SURVEY_FOOT_M,
    )


def county_of(*rows, outlets=(), ground=None, trees=None, land=None, tolerance=1.0, limits=()):
    """A county of drains as builders make them; `ground(x, y)` is in ft at a place in ft."""
    network = build_network(b.drains(*rows), b.structures(*outlets), tolerance_m=tolerance * b.FT)
    return SimpleNamespace(
        county=County(network, Limits(limits), Units()), trees=None if trees is None else b.trees(*trees),
        land=None if land is None else b.land(*land), ground=ground, foot_m=b.FT,
    )


def sampler_of(place):
    """The ground of `place` in metres."""
    if place.ground is None:
        return None

    def sample(x_m, y_m):
        heights = [place.ground(x, y) for x, y in zip(x_m / place.foot_m, y_m / place.foot_m)]
        return np.array(heights, dtype=float) * place.foot_m

    return sample


def plan_of(points, foot_m=b.FT, fixed=(), **given):
    """A plan through points in ft. `diameter` in in, `grade` and `least_grade` in %, inverts in ft; `fixed`: rows of
    x, y, least and greatest, NaN for no limit."""
    lengths = {f"{k}_m": given[k] * foot_m for k in ("invert_up", "invert_down", "invert_error") if k in given}
    drawn = b.drains(b.pipe(None, *points), unit_m=foot_m)
    pipe = {k: given[k] for k in ("material", "openings") if k in given}
    if "diameter" in given:
        pipe["diameter_m"] = given["diameter"] * b.IN
    points_held = np.array(fixed, dtype=float).reshape(-1, 4) * foot_m
    held = FixedPoints(points_held[:, :2], np.array([f"P{k}" for k in range(len(fixed))], dtype=object),
                       points_held[:, 2], points_held[:, 3])
    grades = {name: given[name] / 100 for name in ("grade", "least_grade") if name in given}
    return Plan(one_route(drawn, "New pipe", **pipe), **lengths, **grades, fixed=held)


def judged(place, points, **given):
    """The route judged: `verdict`, `fall`, `grade` (%), `findings` (rows as people read them), `why` of what was not
    checked by check, `stations`."""
    reroute = judge_reroute(
        place.county, plan_of(points, place.foot_m, **given), sampler_of(place), place.trees, place.land
    )
    results = run_checks(reroute, CHECKS)
    for crashed in results.crashed:
        raise AssertionError(crashed.trace)
    verdict, foot_m = reroute.verdict, place.foot_m
    columns, points_m = station_columns(reroute)
    why = {}
    for one in results.not_checked:
        why.setdefault(one.check.id, []).append(one.why)
    return SimpleNamespace(
        reroute=reroute, results=results, verdict=verdict.call, fall=verdict.fall_m / foot_m,
        grade=100 * verdict.grade, p_reverse=verdict.p_reverse, p_least=verdict.p_least,
        ground_fall=verdict.ground_fall_m / foot_m, findings=rows_of(findings_table(reroute.county, results.findings)),
        why=why, stations=rows_of(columns), station_xy=shapely.get_coordinates(points_m) / foot_m,
    )


def rows_of(columns):
    """Columns as rows."""
    names = list(columns)
    return [dict(zip(names, row)) for row in zip(*(columns[name].tolist() for name in names))]


def of(found, check_id):
    """The findings of one check."""
    return [row for row in found.findings if row["check"] == check_id]
