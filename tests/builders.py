"""Makers of small networks for tests: rows are short, figures are in feet, what is built is in metres."""

from __future__ import annotations

import geopandas
import numpy as np
import shapely
from fallkeeper.plugin.tables import Drains, Land, Shots, Structures, Trees

FT = 0.3048
IN = 0.0254

_LENGTHS = ("depth_start", "depth_end", "invert_start", "invert_end", "invert_error", "spacing", "invert", "elevation",
            "error", "water_level", "bed_level")


def _frame(rows: list[dict], unit_m: float) -> geopandas.GeoDataFrame:
    frame = geopandas.GeoDataFrame(rows or {"geometry": []}, geometry="geometry")
    if rows:
        frame["geometry"] = shapely.transform(frame.geometry.values, lambda xyz: xyz * unit_m, include_z=True)
    for column in _LENGTHS:
        if column in frame:
            frame[column] = frame[column].astype(float) * unit_m
    if "diameter" in frame:
        frame["diameter"] = frame["diameter"].astype(float) * IN
    return frame


def pipe(drain_id: str | None, *points: tuple, **fields: object) -> dict:
    """A drain through points in ft; fields as in the archive, us units."""
    return {"drain_id": drain_id, "geometry": shapely.LineString(points), **fields}


def lateral(drain_id: str, *points: tuple, **fields: object) -> dict:
    return pipe(drain_id, *points, **{"role": "lateral", "spacing": 50.0, **fields})


def main(drain_id: str, *points: tuple, **fields: object) -> dict:
    return pipe(drain_id, *points, **{"role": "main", **fields})


def drains(*rows: dict, unit_m: float = FT) -> Drains:
    return Drains.from_frame(_frame(list(rows), unit_m))


def structure(structure_id: str, kind: str, x: float, y: float, **fields: object) -> dict:
    return {"structure_id": structure_id, "kind": kind, "geometry": shapely.Point(x, y), **fields}


def outlet(x: float, y: float, structure_id: str = "O", **fields: object) -> dict:
    return structure(structure_id, "outlet", x, y, **fields)


def structures(*rows: dict, unit_m: float = FT) -> Structures:
    return Structures.from_frame(_frame(list(rows), unit_m))


def shot(shot_id: str, x: float, y: float, elevation: float, **fields: object) -> dict:
    return {"shot_id": shot_id, "geometry": shapely.Point(x, y), "elevation": elevation, "of": "invert", **fields}


def shots(*rows: dict, unit_m: float = FT) -> Shots:
    return Shots.from_frame(_frame(list(rows), unit_m))


def trees(*rows: dict, unit_m: float = FT) -> Trees:
    return Trees.from_frame(_frame(list(rows), unit_m))


def land(*rows: dict, unit_m: float = FT) -> Land:
    return Land.from_frame(_frame(list(rows), unit_m))


def box(land_id: str, x0: float, y0: float, x1: float, y1: float, **fields: object) -> dict:
    return {"land_id": land_id, "geometry": shapely.box(x0, y0, x1, y1), **fields}


def tree(tree_id: str, *points: tuple, **fields: object) -> dict:
    geometry = shapely.Point(points[0]) if len(points) == 1 else shapely.LineString(points)
    return {"tree_id": tree_id, "geometry": geometry, **fields}


def ids(values: object, array: np.ndarray) -> set[str]:
    """The drain ids of rows."""
    return set(np.asarray(values, dtype=object)[array].tolist())
