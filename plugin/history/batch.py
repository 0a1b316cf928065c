"""One transaction, one batch: several rows of an archive changed together, with who and why, all or nothing."""

from __future__ import annotations

import datetime
import math
import sqlite3
import uuid
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path

from ..schema import layer as schema_layer
from ..schema.faults import ArchiveError
from ..schema.history import GEOMETRY, NO_SHAPE, ROW_NUMBER
from ..schema.rules import fill, quoted
from .blobs import Box, box_of, stored
from .file import open_archive, told_plainly, transaction
from .triggers import put_triggers_back

_INSERT = "INSERT INTO {table} ({columns}) VALUES ({marks})"
_UPDATE = "UPDATE {table} SET {changes} WHERE {key} = ?"
_DELETE = "DELETE FROM {table} WHERE {key} = ?"
_SELECT = "SELECT * FROM {table} WHERE {key} = ?"
_GROW = """UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ', 'now'),
min_x = min(coalesce(min_x, :min_x), :min_x), min_y = min(coalesce(min_y, :min_y), :min_y),
max_x = max(coalesce(max_x, :max_x), :max_x), max_y = max(coalesce(max_y, :max_y), :max_y) WHERE table_name = :layer"""
_TOUCH = "UPDATE gpkg_contents SET last_change = strftime('%Y-%m-%dT%H:%M:%fZ', 'now') WHERE table_name = ?"


@contextmanager
def archive_batch(path: Path, kind: str, why: str, who: str = "") -> Iterator[Batch]:
    """Change an archive in one transaction:

        with archive_batch(path, "merge", "Layout of the north field", who="Ada") as batch:
            key = batch.insert("drains", {"role": "lateral", "spacing": 50.0}, wkb)
            batch.update("drains", "A-1", {"status": "abandoned"})
            batch.delete("shots", "S-3")

    At its end all is saved; any exception inside, also one of the caller's own (a cancel), takes everything back. Every
    row of the history that comes of it names the batch (`batch.id`, "kind-time-number"), `who` and `why`. Triggers
    that are missing are put back before, whatever comes of the batch (`batch.put_back` tells).

    Whether a layer of the archive is being edited in QGIS must be asked before, on the main thread
    (qgis_layer/archive_edit.py). Raises ArchiveError with a sentence: locked, read-only, full, damaged, a row refused
    by the archive's rules, an archive of another version.
    """
    with closing(open_archive(path, write=True)) as connection, told_plainly(path):
        put_back = put_triggers_back(connection, who)
        with transaction(connection):
            batch = Batch(connection, path, new_batch_id(kind), who)
            batch.put_back = [fault.sentence for fault in put_back]
            connection.execute("UPDATE history_note SET batch = ?, who = ?, why = ?, replacing = 0",
                               (batch.id, who or None, why or None))
            yield batch
            batch.finish()
            connection.execute("UPDATE history_note SET batch = NULL, who = NULL, why = NULL")


class Batch:
    """Rows are added, changed and deleted by layer and key; figures are in the units of the archive.

    Values are Python's: None and NaN are unknown, True is 1, a date or datetime its ISO text. Shapes are plain
    well-known binary in the CRS of the archive. `connection` may be read at will.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path, batch_id: str, who: str):
        self.connection, self.path, self.id, self.who = connection, path, batch_id, who
        self.put_back: list[str] = []
        self._srs = dict(connection.execute("SELECT table_name, srs_id FROM gpkg_geometry_columns"))
        self._spans: dict[str, list[Box]] = {}

    def insert(self, layer: str, values: Mapping[str, object], shape: bytes | None = None) -> str:
        """Add a row and return its key, which is made up where `values` has none; '' for a table without keys."""
        key = schema_layer(layer).key
        row = {"edited_by": self.who or None, **values}
        if key is not None and row.get(key.name) is None:
            row[key.name] = str(uuid.uuid4())
        self.write_row(layer, self._columns(layer, row, shape))
        return str(row[key.name]) if key is not None else ""

    def insert_like(self, layer: str, row: Mapping[str, object], values: Mapping[str, object], shape: bytes) -> None:
        """Add a row like `row` (all columns as the file keeps them, those included that somebody added) with some
        values, its key among them, and its place of its own."""
        own = self._columns(layer, {"edited_by": self.who or None, **values}, shape)
        self.write_row(layer, {**{name: value for name, value in row.items() if name != ROW_NUMBER}, **own})

    def update(self, layer: str, key: str, values: Mapping[str, object], shape: bytes | None = None) -> None:
        """Change some fields of the row with this key, and its place where `shape` is given (NO_SHAPE: it has none
        any more); ArchiveError if there is no such row."""
        row = self._columns(layer, {"edited_by": self.who or None, **values}, shape)
        self.note_span(layer, row.get(GEOMETRY))
        changes = ", ".join(f"{quoted(column)} = ?" for column in row)
        done = self.connection.execute(
            fill(_UPDATE, table=quoted(layer), changes=changes, key=self._key(layer)), [*row.values(), key]
        )
        self._must_be_one(done, layer, key)

    def delete(self, layer: str, key: str) -> None:
        """Delete the row with this key; ArchiveError if there is none."""
        done = self.connection.execute(fill(_DELETE, table=quoted(layer), key=self._key(layer)), [key])
        self.note_span(layer, None)
        self._must_be_one(done, layer, key)

    def row(self, layer: str, key: str) -> dict[str, object] | None:
        """All columns of a row as the file keeps them; None if there is no such row."""
        found = self.connection.execute(fill(_SELECT, table=quoted(layer), key=self._key(layer)), [key])
        names = [column[0] for column in found.description]
        values = found.fetchone()
        return None if values is None else dict(zip(names, values))

    def write_row(self, layer: str, columns: Mapping[str, object]) -> None:
        """Add a row with columns as the file keeps them."""
        names = ", ".join(quoted(name) for name in columns)
        marks = ", ".join("?" * len(columns))
        self.connection.execute(
            fill(_INSERT, table=quoted(layer), columns=names, marks=marks), list(columns.values())
        )
        self.note_span(layer, columns.get(GEOMETRY))

    def note_span(self, layer: str, blob: object) -> None:
        """Remember that the layer was changed, and what the new place of a row spans."""
        box = box_of(blob) if isinstance(blob, bytes) else None
        self._spans.setdefault(layer, []).extend([box] if box else [])

    def finish(self) -> None:
        """Tell the GeoPackage what the layers changed span now, and when."""
        for layer, boxes in self._spans.items():
            if boxes:
                whole = (min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes),
                         max(b[3] for b in boxes))
                self.connection.execute(_GROW, {"layer": layer, **dict(zip(Box._fields, whole))})
            else:
                self.connection.execute(_TOUCH, [layer])

    def _columns(self, layer: str, values: Mapping[str, object], shape: bytes | None) -> dict[str, object]:
        known = {field.name for field in schema_layer(layer).fields}
        unknown = [name for name in values if name not in known]
        if unknown:
            raise KeyError(f"{layer} has no field {unknown[0]}")
        row = {name: _stored(value) for name, value in values.items()}
        if shape is not None:
            row[GEOMETRY] = None if shape == NO_SHAPE else stored(shape, self._srs[layer])
        return row

    def _key(self, layer: str) -> str:
        key = schema_layer(layer).key
        if key is None:
            raise KeyError(f"rows of {layer} have no key")
        return quoted(key.name)

    def _must_be_one(self, done: sqlite3.Cursor, layer: str, key: str) -> None:
        if done.rowcount != 1:
            one = schema_layer(layer).one
            raise ArchiveError(f"There is no {one} '{key}' in {self.path}: choose one that is there.")


def _stored(value: object) -> object:
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, datetime.datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%S.") + f"{value.microsecond // 1000:03d}Z"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return value.item() if hasattr(value, "item") else value


def new_batch_id(kind: str) -> str:
    """The name of a batch: its kind, when, and a number of its own."""
    moment = datetime.datetime.now(datetime.timezone.utc)
    return f"{kind}-{moment:%Y%m%dT%H%M%S}-{uuid.uuid4().hex[:6]}"
