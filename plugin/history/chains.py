"""Rows of an archive through time: each with its entries of the history since some moment."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field

from ..schema import layer as schema_layer
from ..schema.declare import Layer
from ..schema.history import GAP, INSERT, ROW_NUMBER, UPDATE, WITHOUT_KEY
from ..schema.rules import fill, quoted
from ..schema.sqlite_history import key_sql
from .past import Row, RowReader

_ENTRIES = """SELECT seq, layer, key, new_key, action, at, who, batch FROM history WHERE seq >= ? AND action <> ?
ORDER BY seq DESC"""
_BEFORE = "SELECT before FROM history WHERE seq = ?"
_ROW = "SELECT * FROM {table} WHERE {is_row}"


@dataclass(frozen=True)
class Entry:
    """One entry of the history, without the row it kept."""

    seq: int
    key: str
    action: str
    at: str
    who: str | None
    batch: str | None


@dataclass
class Chain:
    """One row through time, latest entry first. `now`: what the history calls it today, None if it is gone.

    A row that was deleted or replaced, and came back under its key, is the same row.
    """

    layer: Layer
    now: str | None
    entries: list[Entry] = field(default_factory=list)

    def before(self, connection: sqlite3.Connection, place: int) -> Row | None:
        """The row before its entry at `place` of `entries`; None if there was none."""
        if self.entries[place].action == INSERT:
            return None
        ((before,),) = connection.execute(_BEFORE, (self.entries[place].seq,)).fetchall()
        return RowReader(connection, self.layer.name).read(before)

    def present(self, connection: sqlite3.Connection) -> Row | None:
        """The row as it is today; None if it is gone."""
        return None if self.now is None else present_row(connection, self.layer, self.now)


def chains_since(connection: sqlite3.Connection, seq: int) -> list[Chain]:
    """Every row that was touched by entry `seq` of the history or later."""
    live: dict[tuple[str, str], Chain] = {}
    reborn: dict[tuple[str, str], Chain] = {}
    chains = []
    for number, layer, key, new_key, action, *about in connection.execute(_ENTRIES, (seq, GAP)):
        after = (new_key or key) if action in (INSERT, UPDATE) else None
        found = live.pop((layer, after), None) if after is not None else reborn.pop((layer, key), None)
        if found is None:
            found = Chain(schema_layer(layer), after)
            chains.append(found)
        found.entries.append(Entry(number, key, action, *about))
        (reborn if action == INSERT else live)[layer, key] = found
    return chains


def present_row(connection: sqlite3.Connection, layer: Layer, name: str) -> Row | None:
    """The row of a layer that the history calls `name`, as stored; None if there is none."""
    where, value = is_row(layer, name)
    found = connection.execute(fill(_ROW, table=quoted(layer.name), is_row=where), [value])
    names = [column[0] for column in found.description]
    values = found.fetchone()
    return None if values is None else dict(zip(names, values))


def is_row(layer: Layer, name: str) -> tuple[str, object]:
    """A condition on the row of that name with its one parameter; by an index where it has a key."""
    if layer.key is None:
        return f"{quoted(ROW_NUMBER)} = ?", int(name[len(WITHOUT_KEY) :])
    if layer.key.required:
        return f"{quoted(layer.key.name)} = ?", name
    return f"{key_sql(layer, '')} = ?", name
