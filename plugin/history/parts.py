"""What becomes of a drain of which a stretch is replaced: the parts it is cut into, what is known at their ends."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
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


def assumed_words(columns: Sequence[str], instead: str) -> str:
    """A clause for a note: which figures were not measured; nothing where all were."""
    return f"; assumed, since not measured but {instead}: {', '.join(columns)}" if columns else ""


def part_at(parts: Sequence[Part], station: float) -> Part:
    """The part a station of the whole line lies on; a cut belongs to the part before it."""
    return next((part for part in parts if station <= part.end), parts[-1])


def span_on(parts: Sequence[Part], first: float | None, last: float | None) -> tuple[Part, float, float] | None:
    """The part that most of a stretch of the whole line lies on, and the stretch in that part's stations; None where
    neither station is known."""
    first = first if first is not None else last
    last = last if last is not None else first
    if first is None:
        return None
    part = max(parts, key=lambda one: min(last, one.end) - max(first, one.start))
    return (part, *(min(max(at, part.start), part.end) - part.start for at in (first, last)))


def numbered_keys(base: str, is_taken: Callable[[str], bool], itself: bool = False) -> Iterator[str]:
    """Keys that are not taken: base.2, base.3 and so on; `itself`: the base first."""
    number = 1 if itself else 2
    while True:
        key = base if number == 1 else f"{base}.{number}"
        if not is_taken(key):
            yield key
        number += 1


def free_keys(connection: sqlite3.Connection, layer: str, base: str, itself: bool = False) -> Iterator[str]:
    """Keys that no row of a layer has."""
    statement = fill(_HAS_KEY, table=quoted(layer), key=quoted(schema_layer(layer).key.name))
    return numbered_keys(base, lambda key: connection.execute(statement, [key]).fetchone() is not None, itself)


def _between(first: float | None, last: float | None, share: float) -> float | None:
    if share == 0.0:
        return first
    if share == 1.0:
        return last
    return None if first is None or last is None else first + share * (last - first)
