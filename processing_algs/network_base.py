"""What all network algorithms share: the drains with their structures and shots, tolerance, limits, units."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterField,
    QgsProcessingParameterNumber,
    QgsProcessingUtils,
)

from ..plugin import limits
from ..plugin.qgis_layer.archive_info import ArchiveInfo
from ..plugin.qgis_layer.archive_place import drains_file
from ..plugin.qgis_layer.crs import complaint_about, units_for
from .base import UNITS, FallkeeperAlgorithm

DRAINS, STRUCTURES, SHOTS, LIMITS = "DRAINS", "STRUCTURES", "SHOTS", "LIMITS"
JOIN_TOLERANCE, ACCEPT_PROPOSED = "JOIN_TOLERANCE", "ACCEPT_PROPOSED"
ID_FIELD, NAME_FIELD, ROLE_FIELD = "ID_FIELD", "NAME_FIELD", "ROLE_FIELD"
_FIELDS = {ID_FIELD: "drain_id", NAME_FIELD: "name", ROLE_FIELD: "role"}


class NetworkAlgorithm(FallkeeperAlgorithm):
    """An algorithm on a layer of drains. Inputs are never changed."""

    group_ = "Network"

    def initAlgorithm(self, config=None):
        line, point = QgsProcessing.SourceType.TypeVectorLine, QgsProcessing.SourceType.TypeVectorPoint
        self.add(QgsProcessingParameterFeatureSource(DRAINS, self.tr("Drains"), [line]),
                 "Lines of buried drains, drawn in any direction, in a projected CRS. Only geometry is needed; "
                 "fields named as in an archive are used where they exist.")
        self.add(QgsProcessingParameterFeatureSource(STRUCTURES, self.tr("Structures"), [point], optional=True),
                 "Points of kind outlet, joint, constant_inflow and others. Without outlets the free end of a main "
                 "is taken.")
        self.add(QgsProcessingParameterFeatureSource(SHOTS, self.tr("Level shots"), [point], optional=True),
                 "Points with an elevation of an invert or of the top of a pipe.")
        self.init_further()
        self._init_fields()
        tolerance = self.tr("Join tolerance (ft or m; not set: 1 ft or 0.3 m)")
        self.add(QgsProcessingParameterNumber(JOIN_TOLERANCE, tolerance, QgsProcessingParameterNumber.Type.Double,
                                              optional=True, minValue=0.0),
                 "Ends this near to a pipe are proposed as joints. In the unit of lengths, never degrees.")
        self.add(QgsProcessingParameterBoolean(ACCEPT_PROPOSED, self.tr("Accept proposed joints"), False),
                 "Count every proposed joint as real in this run. No layer is changed.")
        self.add_units()
        self.add(QgsProcessingParameterFeatureSource(LIMITS, self.tr("Limits"), [QgsProcessing.SourceType.TypeVector],
                                                     optional=True),
                 "Table of limits (name, value, unit, source) of the office; default: the table beside the drains, "
                 "else the "
                 "built-in limits.", advanced=True)
        self.init_results()

    def _init_fields(self):
        for key, label in ((ID_FIELD, "Key field"), (NAME_FIELD, "Name field"), (ROLE_FIELD, "Role field")):
            self.add(QgsProcessingParameterField(key, self.tr(label), parentLayerParameterName=DRAINS, optional=True),
                     f"Default: a field called {_FIELDS[key]}, if there is one.", advanced=True)

    def init_further(self):
        """Parameters between the layers and the settings."""

    def init_results(self):
        """Sinks and numbers."""

    def checkParameterValues(self, parameters, context):
        source = self.parameterAsSource(parameters, DRAINS, context)
        if source is not None:
            complaint = complaint_about(source.sourceCrs(), source.sourceName())
            if complaint:
                return False, complaint
        return super().checkParameterValues(parameters, context)

    def prepareAlgorithm(self, parameters, context, feedback):
        """Look at layers where that is allowed: on the main thread."""
        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        layer = self._layer(parameters, context)
        self.source = self.parameterAsSource(parameters, DRAINS, context)
        if self.source is None:
            raise QgsProcessingException(self.invalidSourceError(parameters, DRAINS))
        complaint = complaint_about(self.source.sourceCrs(), self.source.sourceName())
        if complaint:
            raise QgsProcessingException(complaint)
        self.archive = ArchiveInfo.beside(layer)
        self.drains_layer = layer
        self.drains_file = drains_file(layer)
        self.unseen = _unseen(layer, self.source)
        self.plain_source = _plain_source(layer, self.source)
        self.units = units_for(self.parameterAsString(parameters, UNITS, context) or "auto", self.source.sourceCrs(),
                               self.archive.units)
        return True

    def _layer(self, parameters, context):
        """The layer of drains itself, also where only its selected features were asked for; None for other sources."""
        value = parameters.get(DRAINS)
        if isinstance(value, QgsProcessingFeatureSourceDefinition):
            name, _ = value.source.valueAsString(context.expressionContext())
            return QgsProcessingUtils.mapLayerFromString(name, context)
        return self.parameterAsVectorLayer(parameters, DRAINS, context)

    def read_county(self, parameters, context, feedback):
        """The network as plugin.county.County; says on the way what it saw and what it could not use."""
        from .read_inputs import read_county

        return read_county(self, parameters, context, feedback)

    def tolerance_m(self, parameters, context) -> float:
        if parameters.get(JOIN_TOLERANCE) is None:
            return limits.JOIN_TOLERANCE[self.units.system] * self.units.length_m
        return self.parameterAsDouble(parameters, JOIN_TOLERANCE, context) * self.units.length_m

    def renamed(self, parameters, context) -> dict:
        names = {own: self.parameterAsString(parameters, key, context) for key, own in _FIELDS.items()}
        return {own: name for own, name in names.items() if name}

    def layer_name(self, sink_id, context):
        return QgsProcessingUtils.mapLayerFromString(sink_id, context)


def _unseen(layer, source) -> int:
    """Lines that the selection or a filter kept from the run."""
    if layer is None:
        return 0
    hidden = max(layer.featureCount() - source.featureCount(), 0)
    if layer.subsetString():
        whole = layer.clone()
        whole.setSubsetString("")
        hidden += max(whole.featureCount() - layer.featureCount(), 0)
    return hidden


def _plain_source(layer, source) -> str:
    """Source of a layer of which all features are wanted as they lie in its file, to be read in bulk; else nothing."""
    from ..plugin.qgis_layer.arrow import is_plain

    whole = layer is not None and layer.featureCount() == source.featureCount() and layer.crs() == source.sourceCrs()
    return layer.source() if whole and is_plain(layer) else ""
