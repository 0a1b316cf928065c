"""Judge a route, say what was found, write the results. Loaded only while an algorithm runs."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
from qgis.core import QgsProcessingException

from ..plugin import result_tables as tables
from ..plugin.checks.ground_fault import ground_fault
from ..plugin.checks.run import CanceledError, Results, run_checks
from ..plugin.elevation.ground import SamplingCanceledError
from ..plugin.qgis_layer.raster import RasterError
from ..plugin.qgis_layer.rows import Rows
from ..plugin.report.page import render_reroute
from ..plugin.report.verdict import reroute_verdict
from ..plugin.reroute.checks import CHECKS
from ..plugin.reroute.content import reroute_content
from ..plugin.reroute.extend import sample_near
from ..plugin.reroute.judge import Reroute, judge_reroute
from ..plugin.reroute.left_behind import LEFT_BEHIND, LeftBehind, find_left_behind, left_aliases, left_columns
from ..plugin.reroute.stations import STATIONS, station_aliases, station_columns
from ..plugin.reroute.tie_checks import climbs
from ..plugin.reroute.words import fall_sentences, further_sentences, left_sentences, serious_sentences
from .reroute_inputs import given_limits, read_plan
from .write_results import facts_of, finding_rows
from .write_sinks import LINE, POINT, write_sink


def judge_route(algorithm, parameters, context, feedback) -> tuple[Reroute, Results, LeftBehind | None]:
    """Read everything and judge; the drains' own ground is sampled only where the route meets them."""
    plan = read_plan(algorithm, parameters, context, feedback)
    county = algorithm.read_county(parameters, context, feedback)
    county = dataclasses.replace(county, limits=given_limits(algorithm, parameters, context, county.limits))
    whole = county
    sampler, fault = algorithm.ground_sampler(parameters, context, feedback), ""
    try:
        if sampler is not None:
            near = sample_near(county, plan.line, sampler)
            fault = ground_fault(near, algorithm.ground_layer.name())
            county, sampler = (county, None) if fault else (near, sampler)
        if fault:
            feedback.pushWarning(fault)
        trees = algorithm.read_trees(context, feedback)
        land = algorithm.read_land(parameters, context, feedback)
        reroute = judge_reroute(county, plan, sampler, trees, land, fault)
        results = run_checks(reroute, CHECKS, is_canceled=feedback.isCanceled)
    except (SamplingCanceledError, CanceledError):
        raise QgsProcessingException("Canceled.") from None
    except RasterError as error:
        raise QgsProcessingException(str(error)) from None
    return reroute, results, find_left_behind(reroute, whole)


def say(reroute: Reroute, results: Results, left: LeftBehind | None, feedback) -> None:
    """The verdict in words first, then what bears on it, what else was found and what was not checked."""
    verdict, climb = reroute.verdict, climbs(reroute)
    tell = feedback.pushInfo if verdict.call == "falls" and not climb else feedback.pushWarning
    tell(reroute_verdict(verdict.call, verdict.p_reverse, climb))
    for sentence in fall_sentences(reroute):
        feedback.pushInfo(sentence)
    for sentence in serious_sentences(results.findings):
        feedback.pushWarning(sentence)
    for sentence in further_sentences(reroute, results.findings):
        feedback.pushInfo(sentence)
    for one in results.crashed:
        feedback.reportError(f"Check {one.check.id} broke off: {one.error}\n{one.trace}")
    for one in results.not_checked:
        feedback.pushInfo(f"Not checked: {one.check.id}. {one.why}")
    for sentence in left_sentences(left, reroute.county.units):
        feedback.pushInfo(sentence)
    feedback.pushInfo("Not checked by this version: load, and water that stands in old pipe that is kept.")


def write_all(
    algorithm, parameters, context, feedback, reroute: Reroute, results: Results, left: LeftBehind | None
) -> dict:
    """STATIONS, LINE_FINDINGS, LEFT_BEHIND and REPORT."""
    county, findings = reroute.county, results.findings
    columns, points = station_columns(reroute)
    return {
        "STATIONS": write_sink(algorithm, parameters, context, feedback, "STATIONS", STATIONS,
                               station_aliases(county.units), Rows.of(columns, points), POINT),
        "LINE_FINDINGS": write_sink(algorithm, parameters, context, feedback, "LINE_FINDINGS", tables.FINDINGS,
                                    tables.finding_aliases(county.units),
                                    finding_rows(county, findings, np.arange(len(findings))), LINE),
        "LEFT_BEHIND": write_sink(algorithm, parameters, context, feedback, "LEFT_BEHIND", LEFT_BEHIND,
                                  left_aliases(county.units), Rows.of(*left_columns(left, county)), LINE),
        "REPORT": _write_report(algorithm, parameters, context, reroute, results, left),
    }


def _write_report(
    algorithm, parameters, context, reroute: Reroute, results: Results, left: LeftBehind | None
) -> str | None:
    """REPORT as one HTML file; None where the user did not ask for it."""
    path = algorithm.parameterAsFileOutput(parameters, "REPORT", context)
    if not path:
        return None
    facts = facts_of(algorithm, reroute.case, reroute.plan.name)
    facts = dataclasses.replace(facts, drains_read=facts.drains_read - 1)  # the route is none of them
    Path(path).write_text(render_reroute(reroute_content(reroute, results, facts, left)), encoding="utf-8")
    return path
