"""Read all that checks look at. Loaded only while an algorithm runs."""

from __future__ import annotations

import dataclasses

from qgis.core import QgsProcessingException

from ..plugin.checks.case import Case
from ..plugin.checks.ground_fault import ground_fault
from ..plugin.elevation.ground import SamplingCanceledError, sample_lines
from ..plugin.network.summary import say_first
from ..plugin.qgis_layer.crs import unit_m
from ..plugin.qgis_layer.edits import read_edits
from ..plugin.qgis_layer.raster import RasterError


def read_case(algorithm, parameters, context, feedback) -> Case:
    """Network, ground, trees and land; says first what matters most."""
    sampler = algorithm.ground_sampler(parameters, context, feedback)

    def ground(lines, active):
        step = algorithm.limits["ground_step"]
        try:
            return sample_lines(lines, sampler, step, active, lambda share: feedback.setProgress(10 + 30 * share))
        except SamplingCanceledError:
            raise QgsProcessingException("Canceled.") from None
        except RasterError as error:
            raise QgsProcessingException(str(error)) from None

    county = algorithm.read_county(parameters, context, feedback, ground if sampler is not None else None)
    for sentence in say_first(county.network):
        feedback.pushWarning(sentence)
    fault = ""
    if county.ground is not None:
        missing = county.ground.missing_count
        if missing:
            feedback.pushWarning(
                f"The ground is missing at {missing:,} of {len(county.ground):,} samples along the pipes; it stays "
                "unknown there."
            )
        fault = ground_fault(county, algorithm.ground_layer.name())
        if fault:
            feedback.pushWarning(fault)
            county = dataclasses.replace(county, ground=None)
    trees = algorithm.read_trees(context, feedback)
    edits = read_edits(algorithm.drains_file, unit_m(algorithm.source.sourceCrs()), algorithm.units.length_m)
    return Case(county, trees, algorithm.read_land(parameters, context, feedback), fault, edits=edits)


def said_found(results, not_checked_count: int, has_report: bool) -> str:
    """How much was found and where to look first."""
    serious = int((results.findings.rank == 0).sum())
    where = "the report, the worst first" if has_report else "the tables of the findings"
    return (
        f"Findings: {len(results.findings):,}, {serious:,} of them serious. Not checked: {not_checked_count:,}, each "
        f"with its reason. See {where}, for what to do."
    )
