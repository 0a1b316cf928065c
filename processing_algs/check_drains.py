"""checkdrains: all checks over a layer of drains, with a report."""

from __future__ import annotations

import dataclasses

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
)

from ..plugin.qgis_layer.accepted import accepted_beside, read_accepted
from .base import bulk_work
from .check_ids import CHECK_IDS
from .network_base import NetworkAlgorithm
from .surroundings import Surroundings

CHECKS, ACCEPTED, REPORT = "CHECKS", "ACCEPTED", "REPORT"
_NUMBERS = {
    "FINDING_COUNT": "Findings", "NOT_CHECKED_COUNT": "Not checked", "CRASHED_COUNT": "Checks that broke off",
    "ACCEPTED_COUNT": "Accepted findings",
}


class CheckDrains(Surroundings, NetworkAlgorithm):
    """Runs the checks and tells the three outcomes apart: found, not checked, broken off."""

    id_ = "checkdrains"
    title = "Check drains"
    group_ = "Checks"
    tags_ = ("check", "grade", "fall", "cover", "trees", "report", "quality")
    help_ = (
        "Checks a network of buried drains: does it fall, is it deep enough, can roots reach it, does every pipe "
        "reach an outlet, and what does nobody know.\n\n"
        "To do: choose the drains and all there is beside them: structures, level shots, ground, trees, land. Run, "
        "then read the report (in the Results Viewer), the worst first. What needs a layer that is not given is not "
        "checked, and the report says so.\n\n"
        "Grades are called from measured inverts and, where a ground raster is given, from the ground less the "
        "depth, each with its error: falls, reverse, cannot tell, unknown. Cannot tell says what would settle it.\n\n"
        "Results: findings on pipe and at places, a table of what was not checked and why, and a report with the "
        "worst first. Nothing found is not a promise that all is well.\n\n"
        "Findings in the archive's table of accepted ones stay in the results with their reason, drawn faintly, and "
        "are not counted; where the facts are worse than what was accepted, they are findings again."
    )

    def init_further(self):
        self.add_surroundings()
        checks = QgsProcessingParameterEnum(CHECKS, self.tr("Checks"), list(CHECK_IDS), allowMultiple=True,
                                            optional=True, usesStaticStrings=True)
        self.add(checks, "Only these checks; empty: all.", advanced=True)
        accepted = QgsProcessingParameterFeatureSource(ACCEPTED, self.tr("Accepted findings"),
                                                       [QgsProcessing.SourceType.TypeVector], optional=True)
        self.add(accepted, "Table of findings somebody lets stand, as an archive has it; default: the table beside the "
                           "drains. They stay in the results, marked, and are not counted as findings.", advanced=True)

    def init_results(self):
        kinds = QgsProcessing.SourceType
        for key, label, kind, help_text in (
            ("LINE_FINDINGS", "Findings on pipe", kinds.TypeVectorLine, "Stretches of pipe with a fault or a doubt."),
            ("POINT_FINDINGS", "Findings at places", kinds.TypeVectorPoint, "Places with a fault or a doubt."),
            ("NOT_CHECKED", "Not checked", kinds.TypeVector, "Table: which check, which drain (empty: all), and why."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), kind, optional=True, createByDefault=True),
                     help_text)
        self.add(QgsProcessingParameterFileDestination(REPORT, self.tr("Report"), "HTML (*.html)", optional=True,
                                                       createByDefault=True),
                 "One file to read and print: verdict, findings worst first, what was not checked, cautions.")
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    def prepareAlgorithm(self, parameters, context, feedback):
        self.prepare_surroundings(parameters, context)
        ready = super().prepareAlgorithm(parameters, context, feedback)
        source = self.parameterAsSource(parameters, ACCEPTED, context)
        self.accepted = accepted_beside(self.drains_layer) if source is None else read_accepted(source)
        return ready

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.checks.catalogue import CHECKS as ALL
        from ..plugin.checks.catalogue import NOT_YET
        from ..plugin.report.accepted_words import accepted_words, told
        from .check_case import check_case, said_found, standing_of
        from .write_results import write_findings, write_not_checked, write_report

        chosen = self.parameterAsEnumStrings(parameters, CHECKS, context) if parameters.get(CHECKS) else []
        checks = [check for check in ALL if not chosen or check.id in chosen]
        checked = check_case(self, parameters, context, feedback, checks)
        case, standing = checked.case, standing_of(self, checked, feedback)
        results = dataclasses.replace(checked.results, findings=told(case.county, checked.results.findings, standing))
        outputs = write_findings(self, parameters, context, feedback, case.county, results.findings,
                                 accepted=accepted_words(case.county, results.findings, standing))
        never = () if chosen else NOT_YET
        outputs["NOT_CHECKED"], rows = write_not_checked(self, parameters, context, feedback, case, results, never)
        outputs[REPORT] = write_report(self, parameters, context, case, results, standing)
        open_ = results.findings.where(~standing.accepted)
        feedback.pushInfo(said_found(open_, rows, bool(outputs[REPORT])))
        return {
            **outputs,
            "FINDING_COUNT": len(open_),
            "NOT_CHECKED_COUNT": rows,
            "CRASHED_COUNT": len(results.crashed),
            "ACCEPTED_COUNT": len(results.findings) - len(open_),
        }
