"""What stands out along a walk: changes of size, structures, drains that join, sills and standing water."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from ..county import County
from ..network.walk import Walk
from ..report.profile_data import JOINT, SILL, SIZE_STEP, STRUCTURE, WATER, Mark

NAN = float("nan")
_LEAST_POOL_M = 0.01
_SAME_SIZE_M = 1e-4
_AT_END_M = 0.01


def marks_of(county: County, walk: Walk) -> tuple[Mark, ...]:
    """All but sills, which come with the water they hold back."""
    return (*_size_steps(county, walk), *_structures(county, walk), *_joints(county, walk),
            *_outside_water(county, walk))


def standing_water(
    county: County, walk: Walk, station_m: np.ndarray, invert_m: np.ndarray, diameter_m: np.ndarray
) -> tuple[np.ndarray, tuple[Mark, ...]]:
    """Level of water left standing at places along a walk (NaN: none), and the sills that hold it back.

    The level is the highest invert between a place and the lower end; the water outside the outlet stands in the pipe
    as far as it reaches. A pool shallower than the limit sag_share of the inside diameter is left out.
    """
    level_m = np.full(len(station_m), NAN)
    if not walk.flows_back:
        return level_m, ()
    highest_m = np.fmax.accumulate(invert_m)
    top_m = np.fmax(highest_m, _water_outside(county, walk))
    depth_m = np.where(np.isfinite(invert_m), top_m - invert_m, 0.0)
    wet = np.concatenate([[False], depth_m > 1e-6, [False]])
    sills = []
    for begin, end in zip(np.flatnonzero(wet[1:] & ~wet[:-1]), np.flatnonzero(wet[:-1] & ~wet[1:])):
        pool = slice(begin, end)
        least_m = np.fmax(county.limits["sag_share"] * np.nan_to_num(diameter_m[pool]), _LEAST_POOL_M)
        if not (depth_m[pool] > least_m).any():
            continue
        level_m[pool] = top_m[pool]
        if highest_m[begin] == top_m[begin]:  # else it is the water outside that stands there
            at = int(np.nanargmax(invert_m[: begin + 1]))
            name = f"{county.units.show_length(float(depth_m[pool].max()), 2)} of water"
            sills.append(Mark(float(station_m[at]), name, SILL, float(invert_m[at])))
    return level_m, tuple(sills)


def size_steps(county: County, walk: Walk) -> Iterator[tuple[float, float, float]]:
    """Station of every change of size, with the inside diameters on the side of the lower and the higher station."""
    network = county.network
    diameter_m = network.drains.diameter_m[network.piece_drain[walk.piece]]
    for k in np.flatnonzero(np.abs(np.diff(diameter_m)) > _SAME_SIZE_M).tolist():
        yield walk.first_station_m + float(walk.begins_m[k + 1]), float(diameter_m[k]), float(diameter_m[k + 1])


def _size_steps(county: County, walk: Walk) -> Iterator[Mark]:
    size, name = county.units.diameter_m, county.units.diameter_name
    for station_m, below_m, above_m in size_steps(county, walk):
        yield Mark(station_m, f"{below_m / size:.4g} | {above_m / size:.4g} {name}", SIZE_STEP)


def _water_outside(county: County, walk: Walk) -> float:
    """Level of the water the outlet runs into, where the walk begins at an outlet; NaN unknown."""
    if walk.base_m != 0.0:
        return NAN
    outlets, pieces, first = county.network.outlets, county.network.pieces, walk.piece[0]
    at = np.flatnonzero(np.isin(outlets.node, [pieces.node_from[first], pieces.node_to[first]]))
    row = int(outlets.structure[at[0]]) if len(at) else -1
    return NAN if row < 0 else float(county.network.structures.water_level_m[row])


def _outside_water(county: County, walk: Walk) -> Iterator[Mark]:
    level_m = _water_outside(county, walk)
    if np.isfinite(level_m):
        yield Mark(0.0, "", WATER, level_m)


def _structures(county: County, walk: Walk) -> Iterator[Mark]:
    """Structures on the walk, joints aside."""
    network, structures = county.network, county.network.structures
    shapes = walk.shapes(network)
    row, stretch = shapely.STRtree(shapes).query(shapely.points(structures.xy_m), predicate="dwithin",
                                                 distance=max(network.tolerance_m, _AT_END_M))
    for k in np.unique(row[structures.kind[row] != "joint"]).tolist():
        on = int(stretch[row == k][0])
        walked_m = walk.begins_m[on] + shapely.line_locate_point(shapes[on], shapely.Point(structures.xy_m[k]))
        yield Mark(walk.first_station_m + float(walked_m), str(structures.name[k]), STRUCTURE,
                   float(structures.invert_m[k]))


def _joints(county: County, walk: Walk) -> Iterator[Mark]:
    """Drains that join on the way, each at its own invert there."""
    network, pieces, station_of = county.network, county.network.pieces, _nodes(county, walk)
    others = ~np.isin(network.piece_drain, network.piece_drain[walk.piece])
    for nodes, at_m in ((pieces.node_from, pieces.from_m), (pieces.node_to, pieces.to_m)):
        rows = np.flatnonzero(others & np.isin(nodes, list(station_of)))
        invert_m = county.evidence.invert_at(pieces.line[rows], at_m[rows]).z_m
        for row, z_m in zip(rows.tolist(), invert_m.tolist()):
            yield Mark(station_of[int(nodes[row])], str(network.drains.name[network.piece_drain[row]]), JOINT, z_m)


def _nodes(county: County, walk: Walk) -> dict[int, float]:
    """Nodes that the walk passes or ends at, with their stations."""
    pieces, found = county.network.pieces, {}
    ends_m = walk.first_station_m + walk.begins_m, walk.first_station_m + walk.begins_m + walk.length_m
    for at_m, station_m in zip((walk.start_m, walk.end_m), ends_m):
        for node, node_at_m in ((pieces.node_from, pieces.from_m), (pieces.node_to, pieces.to_m)):
            here = np.abs(at_m - node_at_m[walk.piece]) < _AT_END_M
            found.update(zip(node[walk.piece[here]].tolist(), station_m[here].tolist()))
    return found
