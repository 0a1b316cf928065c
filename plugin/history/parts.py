"""What becomes of a drain of which a stretch is replaced: the parts it is cut into, what is known at their ends."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace

from ..schema import layer as schema_layer
from ..schema.rules import fill, quoted
from .past import Row

_HAS_KEY = "SELECT 1 FROM {table} WHERE {key} = ?"


@dataclass(frozen=True)
class Part:
    """A stretch of the drawn line that becomes a row; `is_old`: the stretch that was replaced."""

    key: str
    start: float
    end: float
    is_old: bool

    @property
    def length(self) -> float:
        return self.end - self.start


@dataclass(frozen=True)
class Ends:
    """Figures at both ends of a part by their columns, and which of these were interpolated and so are assumed."""

    values: dict[str, float | None]
    assumed: tuple[str, ...]


def parts_of(drain_id: str, length: float, start: float, end: float, keys: Iterator[str]) -> list[Part]:
    """The parts along the line. The longest one left keeps the key, the replaced one only if nothing is left."""
    cuts = [(0.0, start, False), (start, end, True), (end, length, False)]
    parts = [Part("", first, last, is_old) for first, last, is_old in cuts if last > first]
    left = [part for part in parts if not part.is_old]
    keeper = max(left, key=lambda part: part.length) if left else parts[0]
    return [replace(part, key=drain_id if part is keeper else next(keys)) for part in parts]


def ends_of(drain: Row, length: float, part: Part, measured: dict[float, float]) -> Ends:
    """Inverts and depths at the ends of a part: as the drain has them at its own ends, else as measured there (station
    -> invert), else on the straight line between the drain's ends; None where one of those is unknown."""
    values: dict[str, float | None] = {}
    assumed = []
    for end, station in (("start", part.start), ("end", part.end)):
        for figure in ("invert", "depth"):
            column = f"{figure}_{end}"
            values[column] = _between(drain[f"{figure}_start"], drain[f"{figure}_end"], station / length)
            if not 0 < station < length:
                continue
            if figure == "invert" and station in measured:
                values[column] = measured[station]
            elif values[column] is not None:
                assumed.append(column)
    return Ends(values, tuple(assumed))


def free_keys(connection: sqlite3.Connection, layer: str, base: str, itself: bool = False) -> Iterator[str]:
    """Keys that no row of a layer has: base.2, base.3 and so on; `itself`: the base first."""
    statement = fill(_HAS_KEY, table=quoted(layer), key=quoted(schema_layer(layer).key.name))
    number = 1 if itself else 2
    while True:
        key = base if number == 1 else f"{base}.{number}"
        if connection.execute(statement, [key]).fetchone() is None:
            yield key
        number += 1


def _between(first: float | None, last: float | None, share: float) -> float | None:
    if share == 0.0:
        return first
    if share == 1.0:
        return last
    return None if first is None or last is None else first + share * (last - first)
