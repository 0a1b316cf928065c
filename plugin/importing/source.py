"""What a file holds, as the engine sees it: layers with columns as they stand in the file and shapes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

NAN = float("nan")


@dataclass(frozen=True)
class SourceLayer:
    """One layer or table of a file.

    `values`: columns by the file's names, in its order: text with None where empty, figures with NaN; days as ISO
    text. `number`: what a person finds a row by in the file (feature number, line of a text file), called `row_word`.
    `shapes`: shapely geometry in the coordinates of the plan that is to be made, None where a row has none; a table
    has None in all. `drawn`: the same in the file's own coordinates, where they differ. `fields_sure`: the file is in
    archive form, so its names mean what they say. `height_unit`: the unit of drawn heights where the format fixes it.
    `doubtful`: rows that lie where they cannot be. `beside_lines`: another layer of the file holds the lines, and these
    are marks beside them.
    """

    name: str
    values: Mapping[str, np.ndarray]
    shapes: np.ndarray
    number: np.ndarray
    row_word: str = "row"
    crs: str = ""
    fields_sure: bool = False
    drawn: np.ndarray | None = None
    height_unit: str = ""
    doubtful: np.ndarray | None = None
    beside_lines: bool = False

    def __len__(self) -> int:
        return len(self.number)

    @property
    def fields(self) -> tuple[str, ...]:
        return tuple(self.values)


@dataclass(frozen=True)
class Source:
    """A file read. `format` is what people call it ("DXF drawing"); `said` are sentences about the reading.

    `units` ("us", "metric") and `vertical_datum` are those the file itself declares, "" where it does not.
    `left` are layers of it that are not taken, with why.
    """

    path: str
    format: str
    layers: tuple[SourceLayer, ...]
    said: tuple[str, ...] = ()
    units: str = ""
    vertical_datum: str = ""
    left: tuple[tuple[str, str], ...] = field(default=())
