"""Rows of a result, made a part at a time: what is written of a county is never in memory as a whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely


@dataclass(frozen=True)
class Rows:
    """`count` rows; `part` gives the columns of some of them by name, and their shapes in metres (None: a table)."""

    count: int
    part: Callable[[slice], tuple[dict[str, np.ndarray], np.ndarray | None]]

    @classmethod
    def of(cls, columns: dict[str, np.ndarray], shapes: np.ndarray | None = None) -> Rows:
        """Rows that are there already."""

        def part(rows: slice) -> tuple[dict[str, np.ndarray], np.ndarray | None]:
            return {name: column[rows] for name, column in columns.items()}, None if shapes is None else shapes[rows]

        return cls(len(next(iter(columns.values()))), part)

    def parts(self, size: int) -> list[slice]:
        """All rows in stretches of at most `size`."""
        return [slice(first, min(first + size, self.count)) for first in range(0, self.count, size)]


def in_units(shapes: np.ndarray, unit_m: float) -> np.ndarray:
    """Shapes in metres as shapes in the unit of a CRS."""
    shapes = np.asarray(shapes, dtype=object)
    return shapes if unit_m == 1.0 else shapely.transform(shapes, lambda xy: xy / unit_m)
