"""Turns a drawn line: vertices in the other order, and what is said of its start said of its end."""

from __future__ import annotations

from .drawn import PAIRS, Drawn, Row


def swapped(row: Row) -> Row:
    """The figures of the ends, as far as the row has them, each at the other end."""
    return {column: row[other] for pair in PAIRS for column, other in (pair, pair[::-1]) if other in row}


def flipped(drawn: Drawn) -> Drawn:
    """The same pipe drawn the other way; twice is nothing."""
    return Drawn(drawn.places[::-1], {**drawn.row, **swapped(drawn.row)})


def turned_span(first: float | None, last: float | None, length: float) -> tuple[float | None, float | None]:
    """A stretch by stations of a line of this length, by stations of the turned line."""
    return tuple(None if at is None else length - at for at in (last, first))
