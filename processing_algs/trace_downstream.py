"""tracedownstream: which way the water takes from a place to the outlet."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterFeatureSink,
)

from .base import bulk_work
from .trace_base import TraceAlgorithm


class TraceDownstream(TraceAlgorithm):
    """The way down to the outlet."""

    id_ = "tracedownstream"
    title = "Trace downstream"
    tags_ = ("trace", "downstream", "below", "outlet", "way")
    help_ = (
        "The way of the water from a place on a pipe down to its outlet: pieces of pipe in order, length of the way, "
        "the outlet, and whose land it crosses.\n\n"
        "To do: choose the drains with their structures. Press ... beside the place on a pipe, click the pipe on the "
        "map, and run. The log says the outlet and how far it is. To learn whose land the way crosses, choose the land "
        "and ask for the table Land crossed.\n\n"
        "Where pipes part, the shortest way is shown. If no outlet can be reached the length is left empty and the way "
        "ends where the water stays."
    )
    land_help = "Fields or parcels: the way is measured on each of them."

    def init_results(self):
        kinds = QgsProcessing.SourceType
        self.add(QgsProcessingParameterFeatureSink("PIPES", self.tr("Pipes below"), kinds.TypeVectorLine, optional=True,
                                                   createByDefault=True), "Pieces of pipe from the place down.")
        self.add(QgsProcessingParameterFeatureSink("LAND_CROSSED", self.tr("Land crossed"), kinds.TypeVector,
                                                   optional=True, createByDefault=False),
                 "Table of the land the way crosses, with the length on each; pipe on a boundary counts for both.")
        self.addOutput(QgsProcessingOutputNumber("LENGTH_TO_OUTLET", self.tr("Way to the outlet (ft or m)")))
        self.addOutput(QgsProcessingOutputString("OUTLET", self.tr("Outlet")))

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        import numpy as np

        from ..plugin.land_tables import LAND_CROSSED, land_crossed_aliases, land_crossed_table
        from ..plugin.network.trace import outlet_key, trace_downstream
        from ..plugin.qgis_layer.rows import Rows
        from .write_results import write_pipes
        from .write_sinks import write_sink

        county = self.read_county(parameters, context, feedback)
        place = self.place(county, parameters, context, feedback)
        self.say_what_lacks(county, place, feedback)
        way, net, units = trace_downstream(county.network, place), county.network, county.units
        feedback.setProgress(60)
        pieces, from_m, to_m = way.stretches(net.pieces)
        at_point = np.arange(len(pieces)) == 0
        shown = (to_m - from_m > 1e-6) | at_point
        pipes = write_pipes(self, parameters, context, feedback, county, pieces[shown], from_m[shown], to_m[shown],
                            at_point[shown])
        land, crossed = self.read_land(parameters, context, feedback), None
        if land is not None:
            columns = land_crossed_table(county, net.pieces.line[pieces], from_m, to_m, land)
            crossed = write_sink(self, parameters, context, feedback, "LAND_CROSSED", LAND_CROSSED,
                                 land_crossed_aliases(units), Rows.of(columns))
        outlet = outlet_key(net, way.outlet)
        if outlet is None:
            feedback.pushWarning("No outlet can be reached from here: see the findings of buildnetwork.")
        else:
            feedback.pushInfo(f"The way to the outlet ({outlet}) is {units.show_length(way.length_m)}.")
        return {
            "PIPES": pipes,
            "LAND_CROSSED": crossed,
            "LENGTH_TO_OUTLET": way.length_m / units.length_m if way.outlet >= 0 else None,
            "OUTLET": outlet,
        }
