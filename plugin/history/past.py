"""Earlier states of a layer: its rows as they are now, walked back through the history."""

from __future__ import annotations

import datetime
import sqlite3
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ..schema import layer as schema_layer
from ..schema.history import DELETE, GAP, GEOMETRY, INSERT, REPLACED, ROW_NUMBER, UPDATE, WITHOUT_KEY
from ..schema.kept_rows import read_stored_row
from ..schema.rules import fill, quoted
from .blobs import box_of, stored

Row = dict[str, object]  # column -> value as the file keeps it

_AFTER = "SELECT key, new_key, action, before FROM history WHERE layer = ? AND seq > ? ORDER BY seq DESC"
_CUT = """SELECT seq FROM (
  SELECT seq, sum(CASE WHEN at <= ? THEN 1 ELSE -1 END) OVER (ORDER BY seq) AS agree FROM history
) WHERE agree > 0 ORDER BY agree DESC, seq LIMIT 1"""
_SRS = "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?"


@dataclass(frozen=True)
class Difference:
    """How an earlier state of a layer differs from the present one.

    `gone`: what the history calls the rows that are there now and were not, or not so; `rows`: those that were there
    instead, as stored.
    """

    gone: frozenset[str]
    rows: list[Row]


def walk_back(connection: sqlite3.Connection, layer: str, seq: int) -> Difference:
    """What a layer's rows were after entry `seq` of the history (0: before the first)."""
    gone: set[str] = set()
    was: dict[str, str] = {}
    for key, new_key, action, before in connection.execute(_AFTER, (layer, seq)):
        if action in (INSERT, UPDATE) and was.pop(new_key or key, None) is None:
            gone.add(new_key or key)
        if action in (UPDATE, DELETE, REPLACED):
            was[key] = before
    reader = RowReader(connection, layer)
    return Difference(frozenset(gone), [reader.read(before) for before in was.values()])


class RowReader:
    """Reads what the history kept of rows of one layer as its table would hold it, whichever archive wrote it: a
    database, before it was copied into a file, kept plain well-known binary."""

    def __init__(self, connection: sqlite3.Connection, layer: str):
        srs = connection.execute(_SRS, (layer,)).fetchone()
        self._srs = srs[0] if srs else 0

    def read(self, before: str) -> Row:
        """sqlite3.DatabaseError where the entry is damaged, as SQLite says it of its own pages."""
        try:
            row = read_stored_row(before)
            shape = row.get(GEOMETRY)
            if isinstance(shape, bytes) and shape[:2] != b"GP":
                row[GEOMETRY] = stored(shape, self._srs)
            elif shape is not None:
                box_of(shape)
        except (ValueError, TypeError, LookupError, struct.error) as error:
            raise sqlite3.DatabaseError("an entry of the history is malformed") from error
        return row


def rows_at(connection: sqlite3.Connection, layer: str, seq: int) -> list[Row]:
    """The rows of a layer as they were after entry `seq` of the history, in the order of their numbers.

    A column that somebody added since is missing in rows that were changed since.
    """
    difference = walk_back(connection, layer, seq)
    now = [row for row in present_rows(connection, layer) if called(layer, row) not in difference.gone]
    return sorted(now + difference.rows, key=lambda row: row[ROW_NUMBER])


def present_rows(connection: sqlite3.Connection, layer: str) -> Iterator[Row]:
    """The rows of a layer as they are now."""
    found = connection.execute(fill("SELECT * FROM {table}", table=quoted(layer)))
    names = [column[0] for column in found.description]
    for values in found:
        yield dict(zip(names, values))


def called(layer: str, row: Mapping[str, object]) -> str:
    """What the history calls a row: its key, or its number where it has none."""
    key = schema_layer(layer).key
    value = row[key.name] if key is not None else None
    if isinstance(value, bytes):
        value = value.decode()
    return str(value) if value is not None else f"{WITHOUT_KEY}{row[ROW_NUMBER]}"


def entry_at(connection: sqlite3.Connection, moment: datetime.datetime) -> int:
    """The last entry of the history written up to a moment (with time zone); 0 if there was none yet.

    Clocks can be wrong: the order is that of `seq`, cut where the fewest times contradict it.
    """
    found = connection.execute(_CUT, (utc_text(moment),)).fetchone()
    return found[0] if found else 0


def gaps_after(connection: sqlite3.Connection, seq: int) -> list[tuple[str, str, str]]:
    """(layer, time, why) of every place in the history after entry `seq` before which changes may be missing."""
    return connection.execute(
        "SELECT layer, at, why FROM history WHERE action = ? AND seq > ? ORDER BY seq", (GAP, seq)
    ).fetchall()


def utc_text(moment: datetime.datetime) -> str:
    """A moment with its time zone as the history writes it."""
    utc = moment.astimezone(datetime.timezone.utc)
    return f"{utc:%Y-%m-%dT%H:%M:%S}.{utc.microsecond // 1000:03d}Z"


def whole_day(day: datetime.date) -> tuple[str, str]:
    """First and, no more part of it, last moment of a day on this computer's clock, as the history writes times."""
    first = datetime.datetime.combine(day, datetime.time.min).astimezone()
    after = datetime.datetime.combine(day + datetime.timedelta(days=1), datetime.time.min).astimezone()
    return utc_text(first), utc_text(after)
