"""checkdrains: all checks over a layer of drains, with a report."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFileDestination,
)

from .base import bulk_work
from .check_ids import CHECK_IDS
from .network_base import NetworkAlgorithm
from .surroundings import Surroundings

CHECKS, REPORT = "CHECKS", "REPORT"
_NUMBERS = {"FINDING_COUNT": "Findings", "NOT_CHECKED_COUNT": "Not checked", "CRASHED_COUNT": "Checks that broke off"}


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
        "worst first. Nothing found is not a promise that all is well."
    )

    def init_further(self):
        self.add_surroundings()
        checks = QgsProcessingParameterEnum(CHECKS, self.tr("Checks"), list(CHECK_IDS), allowMultiple=True,
                                            optional=True, usesStaticStrings=True)
        self.add(checks, "Only these checks; empty: all.", advanced=True)

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
        return super().prepareAlgorithm(parameters, context, feedback)

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.checks.catalogue import CHECKS as ALL
        from ..plugin.checks.catalogue import NOT_YET
        from .check_case import check_case, said_found
        from .write_results import write_findings, write_not_checked, write_report

        chosen = self.parameterAsEnumStrings(parameters, CHECKS, context) if parameters.get(CHECKS) else []
        checks = [check for check in ALL if not chosen or check.id in chosen]
        checked = check_case(self, parameters, context, feedback, checks)
        case, results = checked.case, checked.results
        outputs = write_findings(self, parameters, context, feedback, case.county, results.findings)
        never = () if chosen else NOT_YET
        outputs["NOT_CHECKED"], rows = write_not_checked(self, parameters, context, feedback, case, results, never)
        outputs[REPORT] = write_report(self, parameters, context, case, results)
        feedback.pushInfo(said_found(results, rows, bool(outputs[REPORT])))
        return {
            **outputs,
            "FINDING_COUNT": len(results.findings),
            "NOT_CHECKED_COUNT": rows,
            "CRASHED_COUNT": len(results.crashed),
        }
