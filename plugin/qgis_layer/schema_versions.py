"""Whether an archive has the layers this plugin knows."""

from __future__ import annotations

from qgis.core import NULL, QgsVectorLayer

from ..schema import SCHEMA_VERSION
from .archive import open_layer
from .archive_error import ArchiveError
from .archive_place import place_of


def must_be_current(opened: QgsVectorLayer, called: str) -> None:
    """ArchiveError with what to do if the archive a layer lies in has another schema version; `called`: its name."""
    about = next(open_layer(place_of(opened), "archive").getFeatures(), None)
    version = NULL if about is None else about["schema_version"]
    if version == NULL:
        raise ArchiveError(f"{called} does not say its schema version: is it an archive of Fallkeeper?")
    if version > SCHEMA_VERSION:
        raise ArchiveError(
            f"{called} was made by a newer Fallkeeper (schema {version}, this one knows {SCHEMA_VERSION}): update the "
            "plugin."
        )
    if version < SCHEMA_VERSION:
        raise ArchiveError(
            f"{called} is an archive of an older version (schema {version}, now {SCHEMA_VERSION}): bring it up first."
        )
