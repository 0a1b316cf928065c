"""ownertable: who drains through whom, and whom to tell of a plug."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFeatureSink,
)

from .base import bulk_work
from .trace_base import POINT, TraceAlgorithm

DOWNSTREAM = "DOWNSTREAM"


class OwnerTable(TraceAlgorithm):
    """Owner by owner, or with a place on a pipe the list of whom to tell."""

    id_ = "ownertable"
    title = "Table of owners"
    tags_ = ("owner", "neighbour", "notice", "share", "cost", "acres", "outlet", "parcel")
    help_ = (
        "Who drains through whom: for every owner the land drained, the pipe under it, his outlets, and under whose "
        "land his water runs. With a place on a pipe: whom to tell when it is plugged there.\n\n"
        "To do: choose the drains with their structures and the land, and run. For a notice list press ... beside the "
        "place on a pipe and click the plugged pipe on the map.\n\n"
        "To be told are, in this order: whose land has to drain through the place, most land first; whose land the "
        "place lies on; under whose land pipe above it runs, since water may come up there (a road, for instance). "
        "Those below lose nothing; ask for them when the pipe is to be opened, since water and silt will come down.\n\n"
        "The owner of a piece of land is that of the polygon the served strip lies on. Pipe on the line between two "
        "owners counts for both. Land drained is strips of half the spacing beside the laterals, every acre once. "
        "Keep the table to yourself: it names all owners. For one owner's eyes use the owner's page."
    )
    land_help = "Fields, lots and roads with their owners."
    land_optional, point_optional = False, True
    point_help = "For a list of whom to tell when the pipe is plugged here; empty: the table of all owners. "

    def init_further(self):
        super().init_further()
        self.add(QgsProcessingParameterBoolean(DOWNSTREAM, self.tr("Tell those below too"), False),
                 "With a place: also list owners under whose land the water runs from there to the outlet.")

    def init_results(self):
        table = QgsProcessing.SourceType.TypeVector
        self.add(QgsProcessingParameterFeatureSink("TABLE", self.tr("Owners"), table),
                 "One row an owner; with a place on a pipe one row an owner to tell.")
        for key, label, help_text in (
            ("SHARES", "Shares at outlets", "One row an outlet and owner: land, and its share at that outlet."),
            ("CROSSINGS", "Ways of water", "One row for each two owners: pipe under the second one's land through "
                                           "which water of the first runs."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), table, optional=True,
                                                       createByDefault=True), help_text)

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.owners import tables
        from ..plugin.owners.sums import OwnerSums

        county = self.read_county(parameters, context, feedback)
        sums = OwnerSums(county, self.read_land(parameters, context, feedback))
        if not len(sums.land):
            raise QgsProcessingException("The layer LAND holds no polygons: choose the layer with fields and owners.")
        for first, second in sums.map.overlaps[:3].tolist():
            feedback.pushWarning(
                f"'{sums.land.name[first]}' and '{sums.land.name[second]}' overlap: the first has the land there."
            )
        feedback.setProgress(30)
        if parameters.get(POINT):
            columns = self._notices(sums, parameters, context, feedback)
            told = self._write("TABLE", tables.NOTICES, tables.notice_aliases, columns, county, parameters, context,
                               feedback)
        else:
            columns = tables.owners_table(sums)
            told = self._write("TABLE", tables.OWNERS, tables.owner_aliases, columns, county, parameters, context,
                               feedback)
        feedback.setProgress(70)
        results = {"TABLE": told}
        for key, spec, aliases, make in (
            ("SHARES", tables.SHARES, tables.share_aliases, tables.shares_table),
            ("CROSSINGS", tables.CROSSINGS, tables.crossing_aliases, tables.crossings_table),
        ):
            if feedback.isCanceled():
                raise QgsProcessingException("Canceled.")
            if parameters.get(key) is not None:
                results[key] = self._write(key, spec, aliases, make(sums), county, parameters, context, feedback)
        return results

    def _write(self, key, spec, aliases, columns, county, parameters, context, feedback):
        from ..plugin.qgis_layer.rows import Rows
        from .write_sinks import write_sink

        return write_sink(self, parameters, context, feedback, key, spec, aliases(county.units), Rows.of(columns))

    def _notices(self, sums, parameters, context, feedback):
        from ..plugin.owners.notice import whom_to_tell
        from ..plugin.owners.tables import notices_table

        county = sums.county
        place = self.place(county, parameters, context, feedback)
        self.say_what_lacks(county, place, feedback)
        downstream = self.parameterAsBoolean(parameters, DOWNSTREAM, context)
        notice = whom_to_tell(county, place, sums.land, sums.owners, sums.map, downstream)
        columns = notices_table(sums, notice)
        feedback.pushInfo("To tell: " + (", ".join(columns["owner"]) or "nobody, no land of a known field is concerned")
                          + ".")
        if notice.nobody_m2 > 0:
            units = county.units
            feedback.pushWarning(
                f"{notice.nobody_m2 / units.area_m2:,.2f} {units.area_name} above the place lie in no field of LAND: "
                "nobody can be told for them."
            )
        return columns
