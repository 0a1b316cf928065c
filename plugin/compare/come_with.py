"""Structures and level shots that come with the lines of a layout."""

from __future__ import annotations

import numpy as np
import shapely

from ..network.near import near_any
from ..tables import Structures
from .given import Archive, Layout


def structures_with(archive: Archive, layout: Layout, rows: np.ndarray, tolerance_m: float) -> np.ndarray:
    """Rows of the layout's structures on lines `rows` of it that the archive does not have there already."""
    on_line = near_any(shapely.points(layout.structures.xy_m), layout.drains.geometry[rows], tolerance_m)
    return np.flatnonzero(on_line & ~_there_already(layout.structures, archive.structures, tolerance_m))


def _there_already(new: Structures, old: Structures, tolerance_m: float) -> np.ndarray:
    """Which structures stand where the archive has one of their kind."""
    there = np.zeros(len(new), dtype=bool)
    for kind in set(new.kind.tolist()):
        own = np.flatnonzero(new.kind == kind)
        there[own] = near_any(shapely.points(new.xy_m[own]), shapely.points(old.xy_m[old.kind == kind]), tolerance_m)
    return there


def shots_with(layout: Layout, rows: np.ndarray, tolerance_m: float) -> np.ndarray:
    """Rows of the layout's level shots of lines `rows` of it: those that name one, and nameless ones on one."""
    shots = layout.shots
    nameless = np.equal(shots.drain_id, None)
    named = ~nameless & np.isin(shots.drain_id.astype(str), layout.drains.drain_id[rows].astype(str))
    on_line = near_any(shapely.points(shots.xy_m), layout.drains.geometry[rows], tolerance_m)
    return np.flatnonzero(named | (nameless & on_line))
