"""A layer as it is now, edits that are not saved included, to be read in another thread."""

from __future__ import annotations

from collections.abc import Iterable

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
    `unsaved`: numbers of the features that are new or changed and not saved.
    """

    def __init__(self, layer: QgsVectorLayer) -> None:
        self._source = QgsVectorLayerFeatureSource(layer)
        self._name, self._crs, self._kind = layer.name(), layer.crs(), layer.wkbType()
        self._only: list[int] | None = None
        self.plain_source = layer.source() if is_plain(layer) else ""
        self.unsaved = _unsaved(layer)

    def only(self, numbers: Iterable[int]) -> Snapshot:
        """Of this snapshot some features alone."""
        part = Snapshot.__new__(Snapshot)
        part.__dict__.update(self.__dict__, _only=list(numbers), plain_source="")
        return part

    def fields(self) -> QgsFields:
        return self._source.fields()

    def getFeatures(self, request: QgsFeatureRequest) -> QgsFeatureIterator:  # as QgsFeatureSource has it
        if self._only is not None:
            request.setFilterFids(self._only)
        return self._source.getFeatures(request)

    def sourceName(self) -> str:
        return self._name

    def sourceCrs(self) -> QgsCoordinateReferenceSystem:
        return self._crs

    def wkbType(self) -> int:
        return self._kind


def _unsaved(layer: QgsVectorLayer) -> list[int]:
    buffer = layer.editBuffer()
    if buffer is None:
        return []
    return [*buffer.addedFeatures(), *buffer.changedAttributeValues(), *buffer.changedGeometries()]
