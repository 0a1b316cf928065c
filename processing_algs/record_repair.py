"""recordrepair: a stretch of a drain was replaced; the archive keeps the old pipe, the new one and why."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterDateTime,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterNumber,
    QgsProcessingParameterPoint,
    QgsProcessingParameterString,
)
from qgis.PyQt.QtCore import QDateTime

from ..plugin.schema.values import VALUE_LISTS
from .archive_base import ArchiveAlgorithm, told

_DONE_ON, _ROUTE = "DONE_ON", "ROUTE"
_POINTS = {"FROM_POINT": "From this place on the drain", "TO_POINT": "To this place on the drain"}
_STATIONS = {"STATION_FROM": "Or from station", "STATION_TO": "To station"}
_FIGURES = {
    "DIAMETER": ("Inside diameter of the new pipe", "In the archive's unit (in or mm). Empty: unknown."),
    "INVERT_FROM": ("Invert at the first place", "As measured on the new pipe, in ft or m. Empty: taken from the old "
                                                 "pipe and said to be assumed."),
    "INVERT_TO": ("Invert at the second place", "As above."),
    "INVERT_ERROR": ("Error of these inverts", "In ft or m. Empty: as usual for what they were located by."),
}
_LISTS = {
    "MATERIAL": ("Material of the new pipe", "material", "Empty: unknown."),
    "OPENINGS": ("Openings of the new pipe", "openings", "none: solid pipe, as near trees. Empty: unknown."),
    "LOCATED_BY": ("New pipe located by", "located_by", "What found its place and its inverts."),
}
_TEXTS = {
    "FOUND": ("Found", "What was wrong: roots, collapsed, a joint pulled apart."),
    "DONE": ("Done", "What was done."),
    "PHOTO": ("Photo", "File of a photo, best relative to the folder of the archive."),
    "CALL_ID": ("Call", "Key of the call this answers (call_id); it must be in the archive."),
}
_OLD_PIPE = ("abandoned", "removed")
_STRINGS = {"REPAIR_ID": "Key of the repair", "NEW_DRAIN": "Key of the new pipe", "OLD_DRAIN": "Key of the old pipe",
            "BATCH": "Batch"}  # fmt: skip
_NUMBERS = {"LENGTH": "Length of the new pipe", "LEFT_BEHIND_COUNT": "Drains left behind",
            "CROSSED_COUNT": "Drains crossed"}  # fmt: skip


class RecordRepair(ArchiveAlgorithm):
    """Writes a repair as one batch."""

    id_ = "recordrepair"
    title = "Record a repair"
    tags_ = ("repair", "replace", "fix", "dig", "call", "plug", "roots", "splice", "abandoned", "as built")
    help_ = (
        "Records that a stretch of a drain was replaced. The drain is cut at both ends of the stretch. The old pipe "
        "stays on the map as abandoned, may hold water, with the day it went out of use and the key of what replaced "
        "it. The new pipe is added as seen, in the ground from that day. A row in Repairs ties it to the call. All is "
        "one batch of the history, which 'Undo a batch' takes back.\n\n"
        "To do: press ... and click both ends of the new pipe on the drain; or give the key of the drain and two "
        "stations, along the drawn line from its first point as in the findings. If the new pipe takes another way, "
        "draw it as one line, from drain to drain, and choose that layer instead. Give what you know of the new "
        "pipe.\n\n"
        "Inverts and depths at the cuts that nobody measured are taken from the straight line between the ends of the "
        "old drain; the note of each part says that they are assumed. Where an end is unknown they stay unknown. "
        "Shots, repairs and accepted findings go with the part they lie on.\n\n"
        "Drains that end on the old stretch and on nothing new, and drains that the new pipe crosses, are named in a "
        "warning: nothing else is moved, so tie them in by hand if the crew did.\n\n"
        "For an archive in a file; no layer of it may be in edit mode."
    )

    def initAlgorithm(self, config=None):
        self.add_archive()
        self.add(QgsProcessingParameterDateTime(_DONE_ON, self.tr("Done on"),
                                                QgsProcessingParameterDateTime.Type.Date, optional=True),
                 "The first day of the new pipe; the day before is the last of the old one. Empty: today.")
        for key, label in _POINTS.items():
            self.add(QgsProcessingParameterPoint(key, self.tr(label), optional=True),
                     "The nearest place on the drain is taken. In the CRS of the archive unless it names another.")
        self.add(QgsProcessingParameterString("DRAIN_ID", self.tr("Key of the drain"), optional=True),
                 "Empty: the drain nearest to both places.")
        number = QgsProcessingParameterNumber.Type.Double
        for key, label in _STATIONS.items():
            self.add(QgsProcessingParameterNumber(key, self.tr(label), number, optional=True),
                     "Instead of two places: along the drawn line, in ft or m from its first point.")
        self.add(QgsProcessingParameterFeatureSource(_ROUTE, self.tr("Or the line of the new pipe"),
                                                     [QgsProcessing.SourceType.TypeVectorLine], optional=True),
                 "One line that begins and ends on the drain, where the new pipe lies elsewhere than the old one.")
        self._add_new_pipe(number)
        for key, (label, help_text) in _TEXTS.items():
            self.add(QgsProcessingParameterString(key, self.tr(label), optional=True), help_text)
        self.add(QgsProcessingParameterEnum("OLD_PIPE", self.tr("The old pipe was"), list(_OLD_PIPE),
                                            defaultValue="abandoned", usesStaticStrings=True),
                 "abandoned: it lies there still and may hold water. removed: it was dug out.", advanced=True)
        self.add_who()
        for key, label in _STRINGS.items():
            self.addOutput(QgsProcessingOutputString(key, self.tr(label)))
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    def _add_new_pipe(self, number):
        for key, (label, help_text) in _FIGURES.items():
            self.add(QgsProcessingParameterNumber(key, self.tr(label), number, optional=True), help_text)
        for key, (label, values, help_text) in _LISTS.items():
            self.add(QgsProcessingParameterEnum(key, self.tr(label), list(VALUE_LISTS[values]), optional=True,
                                                usesStaticStrings=True), help_text)

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.history.repair import record_repair
        from ..plugin.limits import JOIN_TOLERANCE, Limits
        from ..plugin.qgis_layer.archive import open_layer
        from ..plugin.qgis_layer.archive_info import ArchiveInfo
        from ..plugin.qgis_layer.crs import unit_m, units_for

        with told():
            drains = open_layer(self.path, "drains")
            info = ArchiveInfo.beside(drains)
            units = units_for("auto", drains.crs(), info.units)
            reach = Limits(info.limits, units.foot_m)["click_distance"] / units.length_m
            repair = self._repair(parameters, context, drains.crs())
            unit = units.length_m / unit_m(drains.crs())
            del drains
            done = record_repair(self.path, repair, JOIN_TOLERANCE[units.system], reach, unit, self.who)
        self._say(done, units, feedback)
        return {
            "REPAIR_ID": done.repair_id, "NEW_DRAIN": done.new, "OLD_DRAIN": done.old, "BATCH": done.batch,
            "LENGTH": round(done.length, 6), "LEFT_BEHIND_COUNT": len(done.left_behind),
            "CROSSED_COUNT": len(done.crossed),
        }

    def _repair(self, parameters, context, crs):
        from ..plugin.history.repair import Repair

        def number(key):
            return self.parameterAsDouble(parameters, key, context) if parameters.get(key) is not None else None

        def words(key):
            return self.parameterAsString(parameters, key, context).strip() or None

        chosen = {key: self.parameterAsEnumString(parameters, key, context) or None for key in _LISTS}
        return Repair(
            words("DRAIN_ID") or "", self._done_on(parameters, context),
            points=self._points(parameters, context, crs), route=self._route(parameters, context, crs),
            station_from=number("STATION_FROM"), station_to=number("STATION_TO"), invert_from=number("INVERT_FROM"),
            invert_to=number("INVERT_TO"), invert_error=number("INVERT_ERROR"), diameter=number("DIAMETER"),
            material=chosen["MATERIAL"], openings=chosen["OPENINGS"], located_by=chosen["LOCATED_BY"],
            old_status=self.parameterAsEnumString(parameters, "OLD_PIPE", context), found=words("FOUND"),
            done=words("DONE"), photo=words("PHOTO"), call_id=words("CALL_ID"),
        )

    def _done_on(self, parameters, context):
        given = self.parameterAsDateTime(parameters, _DONE_ON, context) if parameters.get(_DONE_ON) else None
        return (given or QDateTime.currentDateTime()).date().toPyDate()

    def _points(self, parameters, context, crs):
        given = [key for key in _POINTS if parameters.get(key)]
        if len(given) == 1:
            raise QgsProcessingException("Give both places on the drain, or neither.")
        points = [self.parameterAsPoint(parameters, key, context, crs) for key in given]
        return tuple((point.x(), point.y()) for point in points) or None

    def _route(self, parameters, context, crs):
        from qgis.core import QgsCoordinateTransform

        source = self.parameterAsSource(parameters, _ROUTE, context)
        if source is None:
            return None
        shapes = [feature.geometry() for feature in source.getFeatures() if feature.hasGeometry()]
        parts = shapes[0].asGeometryCollection() if len(shapes) == 1 else []
        if len(parts) != 1:
            raise QgsProcessingException(
                f"The layer with the line of the new pipe holds {len(shapes)} lines, or one in parts: one unbroken "
                "line is needed. Select it and tick 'Selected features only'."
            )
        parts[0].transform(QgsCoordinateTransform(source.sourceCrs(), crs, context.transformContext()))
        return [(vertex.x(), vertex.y()) for vertex in parts[0].vertices()]

    def _say(self, done, units, feedback):
        for sentence in done.put_back:
            feedback.pushInfo(f"{sentence} Put right.")
        feedback.pushInfo(
            f"Repair {done.repair_id}: {done.length:,.1f} {units.length_name} of new pipe, {done.new}; the old pipe is "
            f"{done.old}. What is left of the drain: {', '.join(done.left) or 'nothing'}. Batch {done.batch}."
        )
        for keys, what in (
            (done.left_behind, "end on the old pipe and on nothing that takes its place, so they drain nowhere now"),
            (done.crossed, "are crossed by the new pipe without ending on it"),
        ):
            if keys:
                feedback.pushWarning(f"{len(keys):,} drains {what}: {', '.join(keys)}. Tie them in on the map if the "
                                     "crew did; nothing was moved.")
