"""A layer as it is now, edits that are not saved included, to be read in another thread."""

from __future__ import annotations

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeatureIterator,
    QgsFeatureRequest,
    QgsFields,
    QgsVectorLayer,
    QgsVectorLayerFeatureSource,
)

from .arrow import is_plain


class Snapshot:
    """Made on the main thread; then any one thread may read it, as `read.read_layer` does.

    `plain_source`: source of a layer whose file says what QGIS shows, to be read in bulk; else nothing.
    """

    def __init__(self, layer: QgsVectorLayer) -> None:
        self._source = QgsVectorLayerFeatureSource(layer)
        self._name, self._crs, self._kind = layer.name(), layer.crs(), layer.wkbType()
        self.plain_source = layer.source() if is_plain(layer) else ""

    def fields(self) -> QgsFields:
        return self._source.fields()

    def getFeatures(self, request: QgsFeatureRequest) -> QgsFeatureIterator:  # as QgsFeatureSource has it
        return self._source.getFeatures(request)

    def sourceName(self) -> str:
        return self._name

    def sourceCrs(self) -> QgsCoordinateReferenceSystem:
        return self._crs

    def wkbType(self) -> int:
        return self._kind
