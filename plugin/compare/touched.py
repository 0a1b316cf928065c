"""The part of an archive that a layout can have an effect on: a few systems of a whole county."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..land.spacing import REACH_IN_SPACINGS
from ..network.kept_rows import rows_of
from ..network.near import near_any
from ..tables import Drains, Shots, Structures
from .given import Archive, Settings

_SLACK_M = 1e-3  # more than any rounding of a distance


@dataclass(frozen=True)
class Touched:
    """Rows of the archive's drains, rising, that are looked at as a network of their own.

    `whole` tells which of them belong to systems taken as a whole; the others stand around them and count for the
    land between only. `near`: those within reach of the layout itself. `outlet_elsewhere`: the archive marks an
    outlet outside these rows.
    """

    rows: np.ndarray
    whole: np.ndarray
    near: np.ndarray
    drains: Drains
    structures: Structures
    shots: Shots
    outlet_elsewhere: bool


def find_touched(archive: Archive, layout: Drains, taken: np.ndarray, old: np.ndarray, settings: Settings) -> Touched:
    """What the lines `taken` (rows of the layout) and redrawing the drains `old` (rows of the archive) can change.

    Lines can matter to each other where they lie within the join tolerance, as ends of a chain of such lines, or
    where they may share land: within their spacings.
    """
    drains = archive.drains
    there = ~(shapely.is_missing(drains.geometry) | shapely.is_empty(drains.geometry))
    water = np.flatnonzero(there & drains.in_ground)
    tree = shapely.STRtree(drains.geometry[water])
    reach_m = _land_reach_m(drains, layout, settings)
    contact_m = 2.0 * max(settings.tolerance_m, settings.limits["exact_joint"]) + _SLACK_M
    shapes = np.concatenate([layout.geometry[taken], drains.geometry[old][there[old]]])
    first = _hit(tree, shapes, reach_m, len(water))
    whole = _all_that_touches(tree, drains.geometry[water], first, contact_m)
    around = _hit(tree, drains.geometry[water[whole]], reach_m, len(water)) | whole
    rows = np.union1d(water[around], old)
    known = np.isin(rows, np.union1d(water[whole], old))
    beside = np.concatenate([shapes, drains.geometry[water[around]]])
    structures = near_any(shapely.points(archive.structures.xy_m), beside, contact_m)
    named = np.isin(archive.shots.drain_id.astype(str), np.concatenate([drains.drain_id[rows], layout.drain_id[taken]]))
    shot_m = max(contact_m, settings.limits["shot_distance"])
    shots = named | near_any(shapely.points(archive.shots.xy_m), beside, shot_m)
    outside = np.ones(len(water), dtype=bool)
    outside[around] = False
    return Touched(
        rows, known, np.isin(rows, water[first]), rows_of(drains, rows), rows_of(archive.structures, structures),
        rows_of(archive.shots, shots), _marks_outlet(archive, water[outside], tree, ~structures, contact_m),
    )


def _land_reach_m(drains: Drains, layout: Drains, settings: Settings) -> float:
    """How far apart lines can lie and still have to do with each other's land."""
    stated = np.concatenate([drains.spacing_m[drains.in_ground], layout.spacing_m])
    stated = stated[stated > 0]
    usual_m = REACH_IN_SPACINGS * settings.limits["default_spacing"]
    return max(float(stated.max(initial=0.0)), usual_m, 2.0 * settings.tolerance_m)


def _hit(tree: shapely.STRtree, shapes: np.ndarray, reach_m: float, count: int) -> np.ndarray:
    hit = np.zeros(count, dtype=bool)
    if len(shapes):
        hit[tree.query(shapes, predicate="dwithin", distance=reach_m)[1]] = True
    return hit


def _all_that_touches(tree: shapely.STRtree, shapes: np.ndarray, first: np.ndarray, contact_m: float) -> np.ndarray:
    """The first lines and all that hang together with them by chains of lines within `contact_m` of each other."""
    found = first.copy()
    front = np.flatnonzero(first)
    while len(front):
        _, hit = tree.query(shapes[front], predicate="dwithin", distance=contact_m)
        front = np.unique(hit[~found[hit]])
        found[front] = True
    return found


def _marks_outlet(
    archive: Archive, outside: np.ndarray, tree: shapely.STRtree, elsewhere: np.ndarray, reach_m: float
) -> bool:
    """Whether there is an outlet pipe outside, or an outlet on a pipe."""
    if (archive.drains.role[outside] == "outlet_pipe").any():
        return True
    outlets = np.flatnonzero(elsewhere & (archive.structures.kind == "outlet"))
    return bool(len(tree.query(shapely.points(archive.structures.xy_m[outlets]), predicate="dwithin",
                               distance=reach_m)[0]))
