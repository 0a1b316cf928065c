"""Whether an archive has the layers this plugin knows."""

from __future__ import annotations

from qgis.core import NULL, QgsVectorLayer

from ..schema import SCHEMA_VERSION
from .archive import open_layer
from .archive_error import ArchiveError
from .archive_place import place_of
from .database_place import DatabasePlace

_IN_A_FILE = "run 'Bring archive up to date' first; it takes a copy before."
_IN_A_DATABASE = (
    "run 'Copy archive to a file', which brings it up and leaves the database as it is, then 'Copy archive to a "
    "database' with that file and a new schema."
)


def must_be_current(opened: QgsVectorLayer, called: str) -> None:
    """ArchiveError with what to do if the archive a layer lies in has another schema version; `called`: its name."""
    if must_be_known(opened, called) < SCHEMA_VERSION:
        todo = _IN_A_DATABASE if isinstance(place_of(opened), DatabasePlace) else _IN_A_FILE
        raise ArchiveError(
            f"{called} is an archive of an older version (schema {_version(opened)}, now {SCHEMA_VERSION}): {todo}"
        )


def must_be_known(opened: QgsVectorLayer, called: str) -> int:
    """The schema version of the archive a layer lies in; ArchiveError if it has none or a newer one."""
    version = _version(opened)
    if version is None:
        raise ArchiveError(f"{called} does not say its schema version: is it an archive of Fallkeeper?")
    if version > SCHEMA_VERSION:
        raise ArchiveError(
            f"{called} was made by a newer Fallkeeper (schema {version}, this one knows {SCHEMA_VERSION}): update the "
            "plugin."
        )
    return version


def _version(opened: QgsVectorLayer) -> int | None:
    about = next(open_layer(place_of(opened), "archive").getFeatures(), None)
    return None if about is None or about["schema_version"] == NULL else about["schema_version"]
