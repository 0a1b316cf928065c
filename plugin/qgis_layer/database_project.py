"""Puts a ready project into the database beside its archive: whoever may read the archive opens it from the Browser."""

from __future__ import annotations

import datetime
import json
import re
import tempfile
import zipfile
from pathlib import Path

from qgis.core import QgsProject

from ..schema.postgres import table_name
from ..schema.rules import literal
from .archive_error import ArchiveError
from .database_place import DatabasePlace
from .project import add_archive, set_up_editing

PROJECT_NAME = "Fallkeeper"

_TABLE = "CREATE TABLE IF NOT EXISTS {table} (name text PRIMARY KEY, metadata jsonb, content bytea)"  # QGIS's own
# The tree of layers and the relations repeat sources, with part of an odd password, and do not need them.
_REPEATED_SOURCE = re.compile(r' (source|dataSource)="(?=[^"]*(?:dbname|service)=)[^"]*"')
_LOGIN = re.compile(r" (?:user|password)='(?:[^'\\]|\\.)*'| authcfg=\w+")
_STORE = (
    "INSERT INTO {table} VALUES ({name}, {metadata}, decode({content}, 'hex')) "
    "ON CONFLICT (name) DO UPDATE SET metadata = excluded.metadata, content = excluded.content"
)


def store_project(place: DatabasePlace, user: str) -> str:
    """Store a project of all layers under PROJECT_NAME; a sentence if that cannot be done, else ''.

    No login goes into it: everybody comes in with his own, which is who the history names.
    """
    table = table_name(place.schema, "qgis_projects")
    with tempfile.TemporaryDirectory() as folder:
        content = _project(place, Path(folder) / f"{PROJECT_NAME}.qgz")
    written = {"last_modified_time": datetime.datetime.now().isoformat(timespec="seconds"), "last_modified_user": user}
    store = _STORE.format(
        table=table, name=literal(PROJECT_NAME), metadata=literal(json.dumps(written)), content=literal(content.hex())
    )
    try:
        place.run((_TABLE.format(table=table), store))
    except ArchiveError as fault:
        return f"The project could not be stored ({fault}): open the layers from the Browser instead."
    return ""


def _project(place: DatabasePlace, path: Path) -> bytes:
    project = QgsProject()
    layers = add_archive(project, place)
    project.setCrs(layers["drains"].crs())
    project.setTitle(PROJECT_NAME)
    set_up_editing(project, layers)
    if not project.write(str(path)):
        raise ArchiveError(f"The project cannot be written: {project.error()}")
    project.clear()
    bare = path.with_name("bare.qgz")
    with zipfile.ZipFile(path) as written, zipfile.ZipFile(bare, "w", zipfile.ZIP_DEFLATED) as stored:
        for part in written.namelist():
            data = written.read(part)
            if part.endswith(".qgs"):
                words = _REPEATED_SOURCE.sub(r' \1=""', data.decode("utf-8"))
                data = _LOGIN.sub("", words).encode("utf-8")
            stored.writestr(part, data)
    return bare.read_bytes()
