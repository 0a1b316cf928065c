"""traceupstream: which pipe and land drains through a place."""

from __future__ import annotations

from qgis.core import QgsProcessing, QgsProcessingOutputNumber, QgsProcessingParameterFeatureSink

from .base import bulk_work
from .trace_base import TraceAlgorithm

_NUMBERS = {
    "PIPE_COUNT": "Pieces of pipe above",
    "LATERAL_COUNT": "Laterals above",
    "LENGTH_ABOVE": "Pipe above (ft or m)",
    "AREA_ABOVE": "Land above (acres or ha)",
    "INFLOW_ABOVE": "Constant inflow above (gal/min or L/s)",
}


class TraceUpstream(TraceAlgorithm):
    """All that hangs on a place."""

    id_ = "traceupstream"
    title = "Trace upstream"
    tags_ = ("trace", "upstream", "above", "plug", "blocked", "owner", "acres")
    help_ = (
        "Everything that drains through a place on a pipe: pieces of pipe, laterals, land by field and owner, "
        "constant inflows. If the pipe is plugged there, this is what stays wet. Pipe below the place is not "
        "affected.\n\n"
        "To do: choose the drains with their structures, and the land to learn whose it is. Press ... beside the place "
        "on a pipe, click the pipe on the map, and run. The log says the sums; the table of the layer Land above says "
        "whose land it is.\n\n"
        "The part of the clicked pipe above the place is counted; the clicked pipe is marked and not counted among the "
        "pieces. Where a split lets water go another way, only its share is counted."
    )
    land_help = "Fields or parcels: the land above is shared out between them."

    def init_results(self):
        kinds = QgsProcessing.SourceType
        for key, label, kind, help_text in (
            ("PIPES", "Pipes above", kinds.TypeVectorLine, "Pieces of pipe above; the clicked one is marked."),
            ("LAND_ABOVE", "Land above", kinds.TypeVectorPolygon, "Land drained through the place, by field and "
                                                                  "owner."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), kind, optional=True, createByDefault=True),
                     help_text)
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.land_tables import LAND_ABOVE, land_above_aliases, land_above_table
        from ..plugin.network.trace import trace_upstream
        from ..plugin.qgis_layer.rows import Rows
        from ..plugin.trace_sums import said_above, sum_above
        from .write_results import write_pipes
        from .write_sinks import MULTIPOLYGON, write_sink

        county = self.read_county(parameters, context, feedback)
        place = self.place(county, parameters, context, feedback)
        self.say_what_lacks(county, place, feedback)
        found = trace_upstream(county.network, place, county.down)
        above = sum_above(county, found)
        feedback.setProgress(60)
        pieces, _, _ = found.stretches(county.network.pieces)
        at_point = pieces == found.clicked
        shown = (above.to_m - above.from_m > 1e-6) | at_point
        pipes = write_pipes(self, parameters, context, feedback, county, pieces[shown], above.from_m[shown],
                            above.to_m[shown], at_point[shown])
        columns, shapes = land_above_table(county, above, self.read_land(parameters, context, feedback))
        land = write_sink(self, parameters, context, feedback, "LAND_ABOVE", LAND_ABOVE,
                          land_above_aliases(county.units), Rows.of(columns, shapes), MULTIPOLYGON)
        feedback.pushInfo(said_above(above, county.units))
        units = county.units
        return {
            "PIPES": pipes,
            "LAND_ABOVE": land,
            "PIPE_COUNT": above.piece_count,
            "LATERAL_COUNT": above.lateral_count,
            "LENGTH_ABOVE": above.length_m / units.length_m,
            "AREA_ABOVE": above.area_m2 / units.area_m2,
            "INFLOW_ABOVE": above.inflow_m3_s / units.flow_m3_s,
        }
