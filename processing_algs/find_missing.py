"""findmissing: pipe that is probably there though the map does not show it, and the doubts that matter most."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFeatureSink,
)

from .base import bulk_work
from .network_base import NetworkAlgorithm
from .surroundings import Surroundings


class FindMissing(Surroundings, NetworkAlgorithm):
    """Missing teeth, unmapped mains, gaps in mains; and all open doubts by the land that depends on them."""

    id_ = "findmissing"
    title = "Find what the map lacks"
    group_ = "Network"
    tags_ = ("missing", "gap", "probable", "doubt", "probe", "comb", "lateral", "main")
    help_ = (
        "Draws pipe that is probably there though the map does not show it: a lateral left out of a row, a main along "
        "a row of open ends, a gap between two sheets of a main. Each with its reasons, how sure it is (likely, "
        "possible, a guess) and the land that depends on it. And lists all open doubts, so that you probe the "
        "one first that most land depends on.\n\n"
        "To do: choose the drains with their structures, level shots and the land, and run. Probe the likely ones, the "
        "largest first. Where pipe is found, draw it into the archive yourself: nothing is added to any layer.\n\n"
        "No lateral is guessed beyond the last of a row, across a road, lot, pond or the edge of a field, where other "
        "pipe is drawn, or between two systems. Without LAND nothing tells a road from a missing lateral: then two and "
        "more laterals in one gap are only a guess.\n\n"
        "What it cannot tell: whether laterals without inverts end in a ditch instead of a main; whether a gap at the "
        "same place on both sides of a main is a lane that is not on the map; a lateral left out where spacings "
        "scatter by more than a quarter, or where wide gaps are the rule of the row.\n\n"
        "The same land may hang on several doubts: the figures do not add up."
    )

    def init_further(self):
        self.add_land("Fields, lots, roads and ponds: no lateral is guessed across their edges.")

    def init_results(self):
        kinds = QgsProcessing.SourceType
        for key, label, kind, help_text in (
            ("PROBABLE", "Probable pipe", kinds.TypeVectorLine, "Lines of evidence assumed, with reasons and land at "
                                                                "stake."),
            ("LINE_FINDINGS", "What lacks an outlet or a pipe", kinds.TypeVectorLine,
             "The probable pipe as findings, and pipe that reaches no outlet."),
            ("DOUBTS", "Open doubts", kinds.TypeVectorPoint, "Where one probe, level shot or look settles most, the "
                                                             "most land first."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), kind, optional=True, createByDefault=True),
                     help_text)
        for key, label in (("PROBABLE_COUNT", "Probable pipes"), ("DOUBT_COUNT", "Open doubts")):
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.missing import tables
        from ..plugin.missing.doubts import open_doubts
        from ..plugin.missing.find import find_missing
        from ..plugin.qgis_layer.rows import Rows
        from ..plugin.result_tables import FINDINGS, finding_aliases
        from .write_sinks import LINE, POINT, write_sink

        county = self.read_county(parameters, context, feedback)
        land = self.read_land(parameters, context, feedback)
        if land is None:
            feedback.pushWarning("No LAND was given: a road or the edge of a field may be taken for a missing lateral.")
        feedback.setProgress(20)
        probable = find_missing(county, land, lambda share: feedback.setProgress(20 + 40 * share), feedback.isCanceled)
        if feedback.isCanceled():
            raise QgsProcessingException("Canceled.")
        doubts = open_doubts(county, probable)
        feedback.setProgress(75)
        results = {}
        for key, spec, aliases, rows, wkb in (
            ("PROBABLE", tables.PROBABLE, tables.probable_aliases, tables.probable_table(county, probable), LINE),
            ("LINE_FINDINGS", FINDINGS, finding_aliases, tables.missing_findings(county, probable), LINE),
            ("DOUBTS", tables.DOUBTS, tables.doubt_aliases, tables.doubts_table(county, doubts), POINT),
        ):
            results[key] = write_sink(self, parameters, context, feedback, key, spec, aliases(county.units),
                                      Rows.of(*rows), wkb)
        self._say(county, probable, doubts, feedback)
        return {**results, "PROBABLE_COUNT": len(probable), "DOUBT_COUNT": len(doubts)}

    def _say(self, county, probable, doubts, feedback):
        units = county.units
        feedback.pushInfo(f"Probable pipes: {len(probable):,}. Open doubts: {len(doubts):,}.")
        if len(doubts):
            area = doubts.area_m2[0] / units.area_m2
            feedback.pushInfo(f"First of all: {doubts.what[0]}; {area:,.1f} {units.area_name} depend on it. "
                              f"{doubts.todo[0]}")
