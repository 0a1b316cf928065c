"""Rows of the table `accepted`: from a layer of a project, or beside the drains."""

from __future__ import annotations

from qgis.core import QgsFeatureSource, QgsVectorLayer

from ..schema import layer as schema_layer
from .archive import open_layer
from .archive_error import ArchiveError
from .archive_place import place_of
from .row_values import plain_feature

_DECLARED = schema_layer("accepted")


def read_accepted(source: QgsFeatureSource) -> list[dict[str, object]]:
    """Rows as `checks.accepted.AcceptedRows.of` takes them, edits that are not saved included."""
    return [{**plain_feature(feature, _DECLARED), "number": feature.id()} for feature in source.getFeatures()]


def accepted_beside(layer: QgsVectorLayer | None) -> list[dict[str, object]]:
    """The rows in the archive that a layer lies in; none where it lies in no archive or that has no such table."""
    place = None if layer is None else place_of(layer)
    if place is None:
        return []
    try:
        return read_accepted(open_layer(place, _DECLARED.name))
    except ArchiveError:
        return []
