"""A drain as it is drawn, with the figures that belong to its start and its end."""

from __future__ import annotations

from dataclasses import dataclass

from ..history.blobs import Place
from ..history.stretches import Way
from ..schema import layer
from ..schema.declare import Layer

Row = dict  # column -> value; None: unknown


def end_pairs(declared: Layer) -> tuple[tuple[str, str], ...]:
    """The columns of a layer that say the same of the start and of the end of the drawn line."""
    names = [field.name for field in declared.fields]
    pairs = [(name, f"{name[:-len('_start')]}_end") for name in names if name.endswith("_start")]
    return tuple(pair for pair in pairs if pair[1] in names)


PAIRS = end_pairs(layer("drains"))
ENDS = tuple(column for pair in PAIRS for column in pair)


def partner(column: str) -> str:
    """The column that says the same of the other end."""
    start, end = next(pair for pair in PAIRS if column in pair)
    return end if column == start else start


def is_of_end(column: str) -> bool:
    """Whether a column speaks of the last point of the line, not of its first."""
    return column in (end for _, end in PAIRS)


@dataclass(frozen=True)
class Drawn:
    """Vertices (x, y, and z where drawn) from start to end, and the row."""

    places: tuple[Place, ...]
    row: Row

    @property
    def way(self) -> Way:
        return Way(self.places)

    def place_of(self, column: str) -> Place:
        """Where the end lies that a column speaks of."""
        return self.places[-1 if is_of_end(column) else 0]
