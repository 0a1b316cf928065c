"""Brings the file of an archive of an older schema version up to the present one.

Every version only added to the one before it, so whatever a new archive has and this one lacks is added: layers,
columns, triggers. Rows, columns, styles and whatever else somebody put into the file stay as they are.
"""

from __future__ import annotations

import datetime
import itertools
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from ..schema import SCHEMA_VERSION
from ..schema.declare import Layer
from ..schema.faults import ArchiveError
from ..schema.layers import LAYERS
from ..schema.rules import fill, quoted
from .batch import new_batch_id
from .file import is_newer, must_be_current, open_archive, schema_version, told_plainly, transaction
from .structure import columns_to_put_back, put_column_back
from .triggers import columns_of, make_triggers

_PAGES_AT_ONCE = 2000

# the archive's own triggers, of whichever version
_OWN_TRIGGERS = """SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :layer
AND (name GLOB :layer || '_rules_*' OR name GLOB :layer || '_history_*' OR name GLOB 'history_kept_*')"""

# of one layer in the archive it is taken from: its table, its spatial index, their triggers
_MADE_WITH = """SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND (
  name IN (:layer, 'rtree_' || :layer || '_geom')
  OR tbl_name = :layer AND name NOT GLOB :layer || '_rules_*' AND name NOT GLOB :layer || '_history_*'
) ORDER BY type <> 'table', name <> :layer, name"""

# tables that tell of layers, and the column that names one
_TOLD_OF_IN = {
    "gpkg_contents": "table_name", "gpkg_geometry_columns": "table_name", "gpkg_ogr_contents": "table_name",
    "gpkg_extensions": "table_name", "layer_styles": "f_table_name",
}
_NUMBERED = ("layer_styles",)  # whose column id is the number of the row

_TABLE = "SELECT 1 FROM sqlite_master WHERE name = ? COLLATE NOCASE"
_ROWS = "SELECT * FROM {table} WHERE {names} = ?"
_INSERT = "INSERT INTO {table} ({columns}) VALUES ({marks})"
_SRS = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'drains'"


@dataclass(frozen=True)
class BroughtUp:
    """What was done: from which version, the copy of the file as it was before, what was added."""

    version: int
    copy: Path
    added: tuple[str, ...]


def bring_up(
    path: Path, template: Path, who: str = "", is_canceled: Callable[[], bool] = lambda: False,
    today: datetime.date | None = None,
) -> BroughtUp:
    """Bring the archive at `path` up, by what the archive `template` has: an empty one of this version, in the same
    units and coordinates.

    First a copy is put beside it, under a name that is free. All or nothing, and then there is no copy. ArchiveError
    with a sentence: no archive, up to date already, of a newer version, damaged, locked, read-only, names of somebody's
    own in the way, canceled.
    """
    with closing(open_archive(path)) as connection, told_plainly(path):
        version = schema_version(connection, path)
        if is_newer(version):
            must_be_current(connection, path)
        if version == SCHEMA_VERSION:
            raise ArchiveError(f"{path} has schema {version} already: there is nothing to do.")
        connection.execute("PRAGMA query_only = OFF")
        copy = _free_name(path, version, today or datetime.date.today())
        try:
            with transaction(connection):  # nobody else writes from here on, so the copy is what was there before
                _refuse_damage(connection, path)
                _copy(path, copy, is_canceled)
                with closing(open_archive(template)) as made:
                    added = tuple(_add(connection, made, path))
                make_triggers(connection)
                _say(connection, version, copy, added, who)
        except BaseException:
            copy.unlink(missing_ok=True)
            raise
    return BroughtUp(version, copy, added)


def _free_name(path: Path, version: int, today: datetime.date) -> Path:
    """Makes an empty file of that name, so that it is taken from now on."""
    for number in itertools.count(1):
        again = f" {number}" if number > 1 else ""
        copy = path.with_name(f"{path.stem} (schema {version}, {today}{again}){path.suffix}")
        if not copy.exists():
            break
    try:
        copy.open("xb").close()
    except OSError as fault:
        raise ArchiveError(
            f"No copy of {path} can be made beside it ({fault.strerror}): make the folder writable, or work on a copy "
            "elsewhere. Nothing was changed."
        ) from fault
    return copy


def _refuse_damage(connection: sqlite3.Connection, path: Path) -> None:
    if connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
        raise ArchiveError(f"{path} is damaged: nothing was changed. Keep it, and go on with your last copy.")


def _copy(path: Path, copy: Path, is_canceled: Callable[[], bool]) -> None:
    def on_pages(status: int, left: int, total: int) -> None:
        if is_canceled():
            raise ArchiveError("Canceled, and nothing was changed.")

    with closing(sqlite3.connect(str(path))) as source, closing(sqlite3.connect(str(copy))) as target:
        source.backup(target, pages=_PAGES_AT_ONCE, progress=on_pages)
        target.execute("PRAGMA journal_mode = DELETE")
        if target.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            raise ArchiveError(f"The copy {copy} could not be made whole: nothing was changed. Look at the disk.")


def _add(connection: sqlite3.Connection, made: sqlite3.Connection, path: Path) -> Iterator[str]:
    """Adds what is lacking and tells of it."""
    for layer in LAYERS:
        for (name,) in connection.execute(_OWN_TRIGGERS, {"layer": layer.name}).fetchall():
            connection.execute(fill("DROP TRIGGER {name}", name=quoted(name)))
        if not columns_of(connection, layer.name):
            _add_layer(connection, made, layer)
            yield f"layer {layer.name}"
    _refuse_own_names(connection, path)
    for layer, field in list(columns_to_put_back(connection)):
        put_column_back(connection, layer, field)
        yield f"column {layer.name}.{field.name}"


def _refuse_own_names(connection: sqlite3.Connection, path: Path) -> None:
    for layer in LAYERS:
        columns = columns_of(connection, layer.name)
        lower = {column.lower(): column for column in columns}
        for field in layer.fields:
            own = lower.get(field.name)
            if field.name not in columns and (own is not None or field.required or field.name == "seq"):
                what = f"has the column '{own}'" if own is not None else f"has no column '{field.name}'"
                raise ArchiveError(
                    f"The table '{layer.name}' of {path} {what}, where schema {SCHEMA_VERSION} has '{field.name}': "
                    "rename the column, or the table if it is one of your own, and run again. Nothing was changed."
                )


def _add_layer(connection: sqlite3.Connection, made: sqlite3.Connection, layer: Layer) -> None:
    for (statement,) in made.execute(_MADE_WITH, {"layer": layer.name}):
        connection.execute(statement)
    ((srs_id,),) = connection.execute(_SRS).fetchall()
    for table, names in _TOLD_OF_IN.items():
        columns = columns_of(connection, table)
        found = made.execute(fill(_ROWS, table=table, names=names), [layer.name])
        held = [column[0] for column in found.description]
        for values in found:
            row = dict(zip(held, values))
            row.update({"srs_id": srs_id} if row.get("srs_id") else {})
            names_of = [name for name in held if name in columns and not (name == "id" and table in _NUMBERED)]
            if names_of:
                marks = ", ".join("?" * len(names_of))
                statement = fill(_INSERT, table=table, columns=", ".join(map(quoted, names_of)), marks=marks)
                connection.execute(statement, [row[name] for name in names_of])


def _say(connection: sqlite3.Connection, version: int, copy: Path, added: tuple[str, ...], who: str) -> None:
    """Enter the new version, which the history keeps with who and why."""
    why = f"Brought up from schema {version} to {SCHEMA_VERSION}; copy of before: {copy.name}"
    why += f"; added {', '.join(added)}" if added else ""
    note = (new_batch_id("update"), who or None, why)
    connection.execute("UPDATE history_note SET batch = ?, who = ?, why = ?", note)
    connection.execute("UPDATE archive SET schema_version = ?", (SCHEMA_VERSION,))
    connection.execute("UPDATE history_note SET batch = NULL, who = NULL, why = NULL")
