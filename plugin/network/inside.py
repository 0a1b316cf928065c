"""Stretches of line inside polygons."""

from __future__ import annotations

import numpy as np
import shapely

from .lines import Lines
from .parallel import by_pairs


def stretches_inside(
    lines: Lines, line: np.ndarray, polygons: np.ndarray, least_m: float = 0.001
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row of the pair, from and to of every stretch of `line[k]` inside `polygons[k]`; touching is not inside."""
    shapely.prepare(polygons)
    whole = shapely.contains_properly(polygons, lines.geometry[line])
    rows = np.flatnonzero(~whole)
    under = by_pairs(shapely.intersection, lines.geometry[line[rows]], polygons[rows])
    parts, of = shapely.get_parts(under, return_index=True)
    linear = shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING
    parts, row = parts[linear], rows[of[linear]]
    geometry = lines.geometry[line[row]]
    first, last = (shapely.line_locate_point(geometry, shapely.get_point(parts, end)) for end in (0, -1))
    row = np.concatenate([row, np.flatnonzero(whole)])
    from_m = np.concatenate([np.minimum(first, last), np.zeros(int(whole.sum()))])
    to_m = np.concatenate([np.maximum(first, last), lines.length_m[line[whole]]])
    real = to_m - from_m > least_m
    return row[real], from_m[real], to_m[real]


def cover_once(
    line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, touch_m: float = 0.01
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Overlapping stretches of one line made one: line, from, to; order of the rows and the group of each in it."""
    order = np.lexsort((from_m, line))
    line, from_m, to_m = line[order], from_m[order], to_m[order]
    new = np.ones(len(order), dtype=bool)
    if len(order):
        base = line * (to_m.max() + 1.0)  # the farthest end so far, line by line
        reach = np.maximum.accumulate(base + to_m) - base
        new[1:] = (line[1:] != line[:-1]) | (from_m[1:] > reach[:-1] + touch_m)
    first = np.flatnonzero(new)
    group = np.cumsum(new) - 1
    if not len(first):
        return line, from_m, to_m, order, group
    return line[first], from_m[first], np.maximum.reduceat(to_m, first), order, group
