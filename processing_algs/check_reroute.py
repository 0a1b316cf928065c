"""checkreroute: judge a drawn new pipe between two places, the pipe and not the ground."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterNumber,
)

from ..plugin.schema.values import VALUE_LISTS
from .base import bulk_work
from .network_base import NetworkAlgorithm
from .surroundings import Surroundings

ROUTE, FIXED, REPORT = "ROUTE", "FIXED", "REPORT"
_NUMBERS = (
    ("DIAMETER", "Inside diameter of the new pipe (in or mm)", "Empty: the field diameter of the route, else unknown."),
    ("INVERT_UP", "Invert at the upper end (ft or m)", "Empty: the best evidence of the pipe it ties in to."),
    ("INVERT_DOWN", "Invert at the lower end (ft or m)", "Empty: the best evidence of the pipe it ties in to."),
    ("INVERT_ERROR", "Standard error of both inverts (ft or m)", "Empty: that of the evidence."),
    ("LAY_AT_GRADE", "Grade to lay it at (%)",
     "Empty: straight from invert to invert. Else it is laid from the end whose invert is given, or from the lower "
     "one, and the other end comes out where it does."),
    ("LEAST_GRADE", "Least grade (%)", "Empty: that at which the full pipe keeps itself clean, if its size is known."),
    ("LEAST_COVER", "Least earth above the pipe (ft or m)", "Empty: the limit least_cover."),
    ("GREATEST_DEPTH", "Greatest depth of the invert (ft or m)", "Empty: the limit greatest_depth."),
)
_RESULTS = {"FALL": "Fall (ft or m)", "GRADE": "Grade (%)", "P_REVERSE": "Chance of reverse",
            "LOAD_SHARE": "Load share (not worked out by this version)"}


class CheckReroute(Surroundings, NetworkAlgorithm):
    """Does the new pipe fall, and what else is wrong with its way?"""

    id_ = "checkreroute"
    title = "Check a reroute"
    group_ = "Checks"
    tags_ = ("reroute", "replacement", "new", "fall", "grade", "profile", "trees", "crossing")
    help_ = (
        "Judges a drawn line as a new pipe between two places of the network: does the pipe fall, whatever the ground "
        "does?\n\n"
        "To do: draw the new pipe as one line from one pipe to another, in a layer of its own (Layer, Create Layer, "
        "New Temporary Scratch Layer). Choose that as the route, then the drains and all there is beside them: "
        "structures, level shots, ground, trees, land. Give the inside diameter and run, then read the report (in the "
        "Results Viewer).\n\n"
        "Each end ties in to the nearest pipe within the join tolerance, with the best invert known there. The line "
        "may be drawn in either direction: the network says where the water comes from.\n\n"
        "The verdict is falls, reverse, cannot tell or unknown, with the chance of reverse from the errors of both "
        "inverts; cannot tell names the two levels to shoot. Also: grade, sizes at both ends, drains that are crossed "
        "and whether they can enter, earth above the pipe, trees along the way and at the old pipe that stays.\n\n"
        "Results: stations from the lower end with ground, invert and cut, findings, what is left behind on the old "
        "run, and a page to print. Load, and water that stands in old pipe that is kept, are not checked by this "
        "version."
    )

    def init_further(self):
        kinds = QgsProcessing.SourceType
        self.add(QgsProcessingParameterFeatureSource(ROUTE, self.tr("Route"), [kinds.TypeVectorLine]),
                 "One line from one end of the new pipe to the other; of several the selected one, else the first.")
        self.add_surroundings()
        number = QgsProcessingParameterNumber.Type.Double
        for key, label, help_text in _NUMBERS:
            least = {} if key in ("INVERT_UP", "INVERT_DOWN") else {"minValue": 0.0}
            self.add(QgsProcessingParameterNumber(key, self.tr(label), number, optional=True, **least), help_text)
        for key, label in (("MATERIAL", "Material of the new pipe"), ("OPENINGS", "Openings of the new pipe")):
            choices = QgsProcessingParameterEnum(key, self.tr(label), list(VALUE_LISTS[key.lower()]), optional=True,
                                                 usesStaticStrings=True)
            self.add(choices, f"Empty: the field {key.lower()} of the route, else unknown.")
        self.add(QgsProcessingParameterFeatureSource(FIXED, self.tr("Fixed points"), [kinds.TypeVectorPoint],
                                                     optional=True),
                 "Points on the route with a least or greatest invert, in fields named least and greatest.",
                 advanced=True)

    def init_results(self):
        kinds = QgsProcessing.SourceType
        for key, label, kind, shown, help_text in (
            ("STATIONS", "Stations", kinds.TypeVectorPoint, True, "From the lower end: ground, invert, cut, cover."),
            ("LINE_FINDINGS", "Findings", kinds.TypeVectorLine, True, "Stretches of new and old pipe with a fault or a "
                                                                      "doubt, and every drain that is met."),
            ("LEFT_BEHIND", "Left behind", kinds.TypeVectorLine, True,
             "Drains that join the old run between the two ends and would have no way out without it; of those that "
             "can enter the new pipe the stub below it."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), kind, optional=True, createByDefault=shown),
                     help_text)
        self.add(QgsProcessingParameterFileDestination(REPORT, self.tr("Report"), "HTML (*.html)", optional=True,
                                                       createByDefault=True),
                 "One page to read and print: verdict, profile, stations, crossings, trees, what was not checked.")
        self.addOutput(QgsProcessingOutputString("VERDICT", self.tr("Verdict")))
        for key, label in _RESULTS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    def prepareAlgorithm(self, parameters, context, feedback):
        self.prepare_surroundings(parameters, context)
        self.route_source = self.parameterAsSource(parameters, ROUTE, context)
        if self.route_source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, ROUTE))
        layer = self.parameterAsVectorLayer(parameters, ROUTE, context)
        self.route_selected = [] if layer is None else layer.selectedFeatureIds()
        return super().prepareAlgorithm(parameters, context, feedback)

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from .judge_route import judge_route, say, write_all

        reroute, results, left = judge_route(self, parameters, context, feedback)
        feedback.setProgress(60)
        say(reroute, results, left, feedback)
        outputs = write_all(self, parameters, context, feedback, reroute, results, left)
        verdict, units = reroute.verdict, reroute.county.units

        def known(value):
            return None if value != value else value

        return {
            **outputs,
            "VERDICT": verdict.call,
            "FALL": known(verdict.fall_m / units.length_m),
            "GRADE": known(100.0 * verdict.grade),
            "P_REVERSE": known(verdict.p_reverse),
            "LOAD_SHARE": None,
        }
