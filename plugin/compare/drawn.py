"""The lines of a layout as they can be used: one part each, and what is wrong with the others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from ..tables import Drains

_ENDS = (("invert_start_m", "invert_end_m"), ("depth_start_m", "depth_end_m"))


def in_one_part(geometry: np.ndarray, exact_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lines in one part where the parts follow each other, which rows have no usable line, which several parts."""
    shapes = np.array(geometry, dtype=object)
    kind = shapely.get_type_id(shapes)
    several = np.zeros(len(shapes), dtype=bool)
    for row in np.flatnonzero(kind == shapely.GeometryType.MULTILINESTRING):
        shapes[row] = _joined(shapely.get_parts(shapes[row]), exact_m)
        several[row] = shapes[row].geom_type != "LineString"
    linear = np.isin(shapely.get_type_id(shapes), (shapely.GeometryType.LINESTRING,)) | several
    xyz, row = shapely.get_coordinates(shapes, include_z=False, return_index=True)
    broken = np.zeros(len(shapes), dtype=bool)
    broken[row[~np.isfinite(xyz).all(axis=1)]] = True
    with np.errstate(invalid="ignore"):
        bad = ~linear | broken | ~(shapely.length(shapes) > 0.0)
    return shapes, bad, several & ~bad


def _joined(parts: np.ndarray, exact_m: float) -> shapely.Geometry:
    """One line of parts of which each begins where the one before ends; else the parts as they are."""
    parts = parts[~shapely.is_empty(parts)]
    coordinates = [shapely.get_coordinates(part, include_z=bool(shapely.has_z(parts).any())) for part in parts]
    gaps = [np.hypot(*(after[0] - before[-1])[:2]) for before, after in zip(coordinates, coordinates[1:])]
    if not len(parts) or any(not gap <= exact_m for gap in gaps):
        return shapely.multilinestrings(list(parts)) if len(parts) else shapely.LineString()
    rest = [part[1:] for part in coordinates[1:]]
    return shapely.linestrings(np.concatenate([coordinates[0], *rest]))


def as_the_archive(layout: Drains, old: Drains, same_shape: np.ndarray) -> tuple[Drains, np.ndarray]:
    """The layout with lines that the archive has in the same shape (rows of it, -1: none) drawn in its direction, the
    figures of their ends with them; and which were turned."""
    rows = np.flatnonzero(same_shape >= 0)
    turned = np.zeros(len(layout), dtype=bool)
    turned[rows] = _opposite(layout.geometry[rows], old.geometry[same_shape[rows]])
    if not turned.any():
        return layout, turned
    geometry = np.array(layout.geometry, dtype=object)
    geometry[turned] = shapely.reverse(geometry[turned])
    columns = {"geometry": geometry}
    for start, end in _ENDS:
        one, other = getattr(layout, start), getattr(layout, end)
        columns[start], columns[end] = np.where(turned, other, one), np.where(turned, one, other)
    return replace(layout, **columns), turned


def _opposite(new: np.ndarray, old: np.ndarray) -> np.ndarray:
    """Whether two lines of one shape are drawn in opposite directions."""
    begin, end = (shapely.get_point(new, place) for place in (0, -1))
    old_begin, old_end = (shapely.get_point(old, place) for place in (0, -1))
    as_drawn = shapely.distance(begin, old_begin) + shapely.distance(end, old_end)
    return shapely.distance(begin, old_end) + shapely.distance(end, old_begin) < as_drawn
