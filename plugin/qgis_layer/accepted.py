"""Rows of the table `accepted`: from a layer of a project, or beside the drains."""

from __future__ import annotations

from qgis.core import QgsFeatureSource, QgsVectorLayer

from ..schema import layer as schema_layer
from .archive import open_layer
from .archive_error import ArchiveError
from .archive_place import place_of
from .project_layers import ArchiveLayers
from .row_values import as_iso

NAME = "accepted"

_FIELDS = [field.name for field in schema_layer(NAME).fields if field.name not in ("note", "edited_by")]


def read_accepted(source: QgsFeatureSource) -> list[dict[str, object]]:
    """Rows as `checks.accepted.AcceptedRows.of` takes them, edits that are not saved included.

    What should be a figure and is none is left to them.
    """
    index = {name: source.fields().lookupField(name) for name in _FIELDS}
    index = {name: place for name, place in index.items() if place >= 0}
    rows = []
    for feature in source.getFeatures():
        values = feature.attributes()
        row = {name: as_iso(values[place]) for name, place in index.items()}
        rows.append({**row, "number": feature.id()})
    return rows


def accepted_in(archive: ArchiveLayers) -> list[dict[str, object]]:
    """The rows of an archive as its layer in the project has them, as its file or database where there is no such."""
    layer = archive.layers.get(NAME)
    return accepted_beside(archive.drains) if layer is None else read_accepted(layer)


def accepted_beside(layer: QgsVectorLayer | None) -> list[dict[str, object]]:
    """The rows in the archive that a layer lies in; none where it lies in no archive or that has no such table."""
    place = None if layer is None else place_of(layer)
    if place is None:
        return []
    try:
        return read_accepted(open_layer(place, NAME))
    except ArchiveError:
        return []
