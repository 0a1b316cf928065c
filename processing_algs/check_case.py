"""Read all that checks look at, and make them. Loaded only while an algorithm runs."""

from __future__ import annotations

import dataclasses

from qgis.core import QgsProcessingException

from ..plugin.checks.accepted import AcceptedRows, Standing, judge_accepted
from ..plugin.checks.run import CanceledError, Findings
from ..plugin.checks.whole import Checked, Given, check_whole, network_of
from ..plugin.elevation.ground import SamplingCanceledError
from ..plugin.network.summary import say_first
from ..plugin.qgis_layer.crs import unit_m
from ..plugin.qgis_layer.edits import read_edits
from ..plugin.qgis_layer.raster import RasterError
from .read_inputs import read_given, say_unseen


def check_case(algorithm, parameters, context, feedback, checks) -> Checked:
    """All of a run; says first what matters most."""
    given = _with_surroundings(algorithm, parameters, context, feedback,
                               read_given(algorithm, parameters, context, feedback))
    network = network_of(given)
    say_unseen(algorithm, feedback)
    for sentence in say_first(network):
        feedback.pushWarning(sentence)
    try:
        checked = check_whole(given, checks, lambda share: feedback.setProgress(10 + 80 * share), feedback.isCanceled,
                              network)
    except (CanceledError, SamplingCanceledError):
        raise QgsProcessingException("Canceled.") from None
    except RasterError as error:
        raise QgsProcessingException(str(error)) from None
    _say_of_ground(checked.case, network, feedback)
    for crashed in checked.results.crashed:
        feedback.reportError(f"Check {crashed.check.id} broke off: {crashed.error}\n{crashed.trace}")
    return checked


def _with_surroundings(algorithm, parameters, context, feedback, given: Given) -> Given:
    """With ground, trees, land and history, as far as there are such."""
    return dataclasses.replace(
        given,
        trees=algorithm.read_trees(context, feedback),
        land=algorithm.read_land(parameters, context, feedback),
        sampler=algorithm.ground_sampler(parameters, context, feedback),
        ground_name=algorithm.ground_layer.name() if algorithm.ground_layer is not None else given.ground_name,
        edits=read_edits(algorithm.drains_file, unit_m(algorithm.source.sourceCrs()), algorithm.units.length_m),
    )


def _say_of_ground(case, network, feedback) -> None:
    if case.network is not network:
        feedback.pushInfo("Some systems have neither outlet nor inverts: their flow was taken from the ground.")
    if case.ground_fault:
        feedback.pushWarning(case.ground_fault)
    elif case.ground is not None and case.ground.missing_count:
        feedback.pushWarning(
            f"The ground is missing at {case.ground.missing_count:,} of {len(case.ground):,} samples along the pipes; "
            "it stays unknown there."
        )


def standing_of(algorithm, checked: Checked, feedback) -> Standing:
    """What of the findings is accepted; says how many are, and which came back."""
    findings, county = checked.results.findings, checked.case.county
    rows = AcceptedRows.of(algorithm.accepted, county.units)
    standing = judge_accepted(findings, county.network, rows, county.limits, county.units)
    if standing.accepted.any():
        feedback.pushInfo(f"Accepted findings: {int(standing.accepted.sum()):,}, in the results with their reasons.")
    back = int(standing.returned.sum())
    if back:
        feedback.pushWarning(
            f"Findings that were accepted and are back, since the facts have changed: {back:,}. The field "
            "detail says what is other than before."
        )
    return standing


def said_found(findings: Findings, not_checked_count: int, has_report: bool) -> str:
    """How much was found and where to look first."""
    serious = int((findings.rank == 0).sum())
    where = "the report, the worst first" if has_report else "the tables of the findings"
    return (
        f"Findings: {len(findings):,}, {serious:,} of them serious. Not checked: {not_checked_count:,}, each "
        f"with its reason. See {where}, for what to do."
    )
