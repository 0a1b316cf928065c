"""What is drawn in a file as single unbroken lines in the plan, as an archive keeps them; heights go apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from ..network.lines import Lines, explode
from .issues import Issues
from .source import SourceLayer

_COLLECTION = shapely.GeometryType.GEOMETRYCOLLECTION


@dataclass(frozen=True)
class DrawnLines:
    """One row a line: `row` of the layer it came from, which `part` of how many (`parts`) of that row it is.

    Vertices of line i are `xy[first[i]:first[i + 1]]`, `along` the plan from its first one, with heights `z` in the
    file's unit, NaN where there is none.
    """

    row: np.ndarray
    part: np.ndarray
    parts: np.ndarray
    xy: np.ndarray
    z: np.ndarray
    first: np.ndarray
    along: np.ndarray

    def __len__(self) -> int:
        return len(self.row)

    @property
    def shapes(self) -> np.ndarray:
        if not len(self):
            return np.empty(0, dtype=object)
        return shapely.linestrings(self.xy, indices=np.repeat(np.arange(len(self)), np.diff(self.first)))


def draw_lines(layer: SourceLayer, rows: np.ndarray, issues: Issues) -> DrawnLines:
    """The lines of some rows of a layer; what cannot be used is told."""
    shapes, lost = _only_lines(layer.shapes[rows])
    issues.add("part-left", layer, rows[lost], "Points or areas drawn with the line.")
    lines, faults = explode(shapes)
    for fault in faults:
        if fault.why.startswith("it is drawn in several parts"):
            continue
        kind = "part-left" if fault.used else "no-line" if fault.why == "it is not a line" else "bad-line"
        kind = "no-place" if fault.why == "it has no geometry" else kind
        issues.add(kind, layer, rows[[fault.drain]], fault.why.capitalize() + ".")
    drawn = _joined(lines, rows)
    several = drawn.parts > 1
    issues.add("several-parts", layer, np.unique(drawn.row[several]))
    was_several = np.bincount(lines.drain, minlength=len(rows)) > 1
    now_one = np.isin(np.arange(len(layer)), drawn.row[~several])
    issues.add("parts-joined", layer, [row for row in rows[was_several] if now_one[row]])
    return drawn


def _only_lines(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Collections as the lines in them, other shapes as they are; and which collections hold something else too."""
    shapes, lost = shapes.copy(), np.zeros(len(shapes), dtype=bool)
    for place in np.flatnonzero(shapely.get_type_id(shapes) == _COLLECTION):
        parts = shapely.get_parts(shapes[place])
        lines = shapely.get_parts(parts[shapely.get_dimensions(parts) == 1])
        if len(lines):
            shapes[place] = shapely.multilinestrings(lines)
            lost[place] = (shapely.get_dimensions(parts) != 1).any()
    return shapes, lost


def _joined(lines: Lines, rows: np.ndarray) -> DrawnLines:
    """Parts of one row that follow one another end to start as one line."""
    if not len(lines):
        none, no = np.zeros(0, dtype=np.int64), np.zeros(0)
        return DrawnLines(none, none, none, np.zeros((0, 2)), no, np.zeros(1, dtype=np.int64), no)
    begin = lines.first[:-1]
    follows = np.zeros(len(lines), dtype=bool)
    follows[1:] = (lines.drain[1:] == lines.drain[:-1]) & (lines.xy[begin[1:]] == lines.xy[begin[1:] - 1]).all(axis=1)
    kept = np.ones(len(lines.xy), dtype=bool)
    kept[begin[follows]] = False  # the vertex both parts have
    line = np.cumsum(~follows) - 1
    vertex_line = np.repeat(line, np.diff(lines.first))[kept]
    first = np.searchsorted(vertex_line, np.arange(line[-1] + 2))
    xy, z = lines.xy[kept], lines.z[kept]
    # running distance over all parts, less what it was at the first vertex of the line
    length = np.concatenate([[0.0], np.cumsum(lines.length_m)])
    running = (lines.along_m + np.repeat(length[:-1], np.diff(lines.first)))[kept]
    along = running - np.repeat(running[first[:-1]], np.diff(first))
    drain = lines.drain[~follows]
    part = pd.Series(drain).groupby(drain).cumcount().to_numpy() + 1
    parts = np.bincount(drain, minlength=len(rows))[drain]
    return DrawnLines(rows[drain], part, parts, xy, z, first, along)
