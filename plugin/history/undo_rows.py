"""Writes rows as they were: takes out, changes back and brings back, in an order in which no key is in the way."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count

from ..schema.history import GEOMETRY, ROW_NUMBER
from ..schema.rules import fill, quoted
from .batch import Batch
from .chains import Chain, is_row, present_row
from .past import Row, called
from .progress import Progress
from .triggers import columns_of

_DELETE = "DELETE FROM {table} WHERE {is_row}"
_UPDATE = "UPDATE {table} SET {changes} WHERE {is_row}"
_HOLDER = "SELECT 1 FROM {table} WHERE {number} = ?"

REMOVED, CHANGED, RESTORED = "taken out", "changed back", "brought back"


@dataclass
class Target:
    """A row (`chain`) and what it shall become: `row`, None for none; `change`: REMOVED, CHANGED or RESTORED.

    `conflict`: why it cannot be, empty where it can.
    """

    chain: Chain
    row: Row | None
    change: str
    conflict: str = ""

    def hindered_by(self, conflict: str) -> None:
        """The first reason counts."""
        self.conflict = self.conflict or conflict


def write_targets(batch: Batch, targets: list[Target], progress: Progress) -> None:
    """Make every row its target."""
    kinds = {kind: [one for one in targets if one.change == kind] for kind in (REMOVED, CHANGED, RESTORED)}
    steps = _Steps(len(targets), progress)
    for target in steps.through(kinds[REMOVED]):
        layer = target.chain.layer
        where, value = is_row(layer, target.chain.now)
        batch.connection.execute(fill(_DELETE, table=quoted(layer.name), is_row=where), [value])
        batch.note_span(layer.name, None)
    _step_aside(batch, kinds[CHANGED])
    columns = {name: columns_of(batch.connection, name) for name in {one.chain.layer.name for one in targets}}
    for target in steps.through(kinds[CHANGED]):
        _change(batch, target, _changes(batch.connection, target, columns[target.chain.layer.name]))
    for target in steps.through(kinds[RESTORED]):
        name = target.chain.layer.name
        batch.write_row(name, _without_taken_number(batch.connection, target, _columns(target, columns[name])))


class _Steps:
    def __init__(self, of_all: int, progress: Progress):
        self.done, self.of_all, self.progress = 0, of_all, progress

    def through(self, targets: list[Target]) -> Iterable[Target]:
        for target in targets:
            if self.done % 100 == 0:
                self.progress.at(self.done / self.of_all)
            self.done += 1
            yield target


def _step_aside(batch: Batch, targets: list[Target]) -> None:
    """Rows of a layer that take over each other's keys or numbers get passing ones first."""
    passing = count(-(2**40), -1)
    by_layer: dict[str, list[Target]] = {}
    for target in targets:
        layer, now = target.chain.layer, target.chain.now
        if called(layer.name, target.row) != now or target.row[ROW_NUMBER] != _number_of(batch.connection, target):
            by_layer.setdefault(layer.name, []).append(target)
    for those in by_layer.values():
        for target in those if len(those) > 1 else ():
            aside: Row = {ROW_NUMBER: next(passing)}
            if target.chain.layer.key is not None:
                aside[target.chain.layer.key.name] = f"passing {uuid.uuid4()}"
            _change(batch, target, aside)
            target.chain.now = called(target.chain.layer.name, aside)


def _change(batch: Batch, target: Target, values: Row) -> None:
    layer = target.chain.layer
    if not values:
        return
    changes = ", ".join(f"{quoted(column)} = ?" for column in values)
    where, value = is_row(layer, target.chain.now)
    statement = fill(_UPDATE, table=quoted(layer.name), changes=changes, is_row=where)
    batch.connection.execute(statement, [*values.values(), value])
    batch.note_span(layer.name, values.get(GEOMETRY))


def _columns(target: Target, columns: list[str]) -> Row:
    """The target in the columns its table has today."""
    return {column: target.row.get(column) for column in columns}


def _changes(connection: sqlite3.Connection, target: Target, columns: list[str]) -> Row:
    """What is to be written of a row that is there: the columns in which it differs from its target."""
    now = present_row(connection, target.chain.layer, target.chain.now)
    differing = {column: value for column, value in _columns(target, columns).items() if value != now[column]}
    if ROW_NUMBER in differing:
        return _without_taken_number(connection, target, differing)
    return differing


def _without_taken_number(connection: sqlite3.Connection, target: Target, row: Row) -> Row:
    """Without its number if that is another row's: rows are known by their keys."""
    holder = fill(_HOLDER, table=quoted(target.chain.layer.name), number=quoted(ROW_NUMBER))
    taken = connection.execute(holder, [row[ROW_NUMBER]]).fetchone() is not None
    return {column: value for column, value in row.items() if column != ROW_NUMBER or not taken}


def _number_of(connection: sqlite3.Connection, target: Target) -> int | None:
    row = present_row(connection, target.chain.layer, target.chain.now)
    return None if row is None else row[ROW_NUMBER]
