"""Which way the water flows in every piece.

Toward the outlet of the system; with several outlets by inverts, without them to the nearest outlet
along the pipe; with none by inverts, or by what else is known of the levels. Drawing direction is never
evidence. Trees are done in bulk; systems with loops or several outlets one at a time (loops.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components

from .loops import System, orient_system
from .pieces import Pieces


@dataclass(frozen=True)
class Flow:
    """`direction` of every piece; `divide_piece`, `divide_at_m`: where a piece must be cut because water leaves a
    high place both ways; `divide_assumed`: that place is half-way between two outlets, no level says so;
    `loop`: number of the ring a piece belongs to, -1 outside rings."""

    direction: np.ndarray
    divide_piece: np.ndarray
    divide_at_m: np.ndarray
    divide_assumed: np.ndarray
    loop: np.ndarray


def systems_of(pieces: Pieces, node_count: int) -> np.ndarray:
    """System number of every node; nodes that no piece touches have systems of their own."""
    ones = np.ones(len(pieces), dtype=np.int8)
    graph = csr_matrix((ones, (pieces.node_from, pieces.node_to)), shape=(node_count, node_count))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def lowest_levels(pieces: Pieces, node_count: int, z_from_m: np.ndarray, z_to_m: np.ndarray) -> np.ndarray:
    """Lowest known level of the pieces that meet at each node, NaN where none is known."""
    level = np.full(node_count, np.inf)
    np.minimum.at(level, pieces.node_from, np.where(np.isfinite(z_from_m), z_from_m, np.inf))
    np.minimum.at(level, pieces.node_to, np.where(np.isfinite(z_to_m), z_to_m, np.inf))
    level[np.isinf(level)] = np.nan
    return level


def orient(
    pieces: Pieces,
    component: np.ndarray,
    outlet_node: np.ndarray,
    level_m: np.ndarray,
    high_point: Callable[[int], float],
) -> Flow:
    """Directions of all pieces.

    `level_m`: level by node (NaN unknown); `high_point(piece)`: distance along its line of a measured place
    inside the piece that is higher than both its ends, NaN without one.
    """
    count = int(component.max()) + 1 if len(component) else 0
    piece_system = component[pieces.node_from]
    edges = np.bincount(piece_system, minlength=count)
    nodes = np.bincount(component, minlength=count)
    outlets = np.bincount(component[outlet_node], minlength=count)
    plain = (edges == nodes - 1) & (outlets <= 1)
    low = _lowest_nodes(component, level_m, plain & (outlets == 0))
    roots = np.concatenate([outlet_node[plain[component[outlet_node]]], low])
    direction = _orient_trees(pieces, len(component), roots, plain[piece_system])
    loop = np.full(len(pieces), -1, dtype=np.int64)
    divides: list[tuple[int, float, bool]] = []
    by_system = _grouped(piece_system, ~plain & (edges > 0), count)
    for members in by_system:
        system = System.of(pieces, members, np.intersect1d(outlet_node, component_nodes(pieces, members)), level_m)
        solved = orient_system(system, high_point)
        direction[members] = solved.direction
        ring = solved.loop >= 0
        loop[members[ring]] = solved.loop[ring] + loop.max() + 1
        divides += [(int(members[k]), at, assumed) for k, at, assumed in solved.divides]
    piece, at, assumed = (np.array(c) for c in zip(*divides)) if divides else (np.zeros(0, dtype=np.int64),) * 3
    return Flow(direction, piece, at.astype(float), assumed.astype(bool), loop)


def component_nodes(pieces: Pieces, members: np.ndarray) -> np.ndarray:
    return np.unique(np.concatenate([pieces.node_from[members], pieces.node_to[members]]))


def _grouped(key: np.ndarray, wanted: np.ndarray, count: int) -> list[np.ndarray]:
    """Row numbers by key, for the wanted keys."""
    if not wanted.any():
        return []
    rows = np.flatnonzero(wanted[key])
    order = rows[np.argsort(key[rows], kind="stable")]
    cuts = np.flatnonzero(np.diff(key[order])) + 1
    return np.split(order, cuts)


def _lowest_nodes(component: np.ndarray, level_m: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """The lowest node of each wanted system whose known levels differ: water gathers there though it has no outlet."""
    known = np.flatnonzero(np.isfinite(level_m) & wanted[component])
    if not len(known):
        return known
    order = known[np.lexsort((level_m[known], component[known]))]
    first = np.ones(len(order), dtype=bool)
    first[1:] = component[order][1:] != component[order][:-1]
    last = np.ones(len(order), dtype=bool)
    last[:-1] = first[1:]
    differ = level_m[order[last]] > level_m[order[first]]
    return order[first][differ]


def _orient_trees(pieces: Pieces, node_count: int, roots: np.ndarray, plain_piece: np.ndarray) -> np.ndarray:
    """Toward the root of each tree; pieces of trees without a root keep 0."""
    a, b = pieces.node_from[plain_piece], pieces.node_to[plain_piece]
    top = node_count
    rows = np.concatenate([a, b, np.full(len(roots), top)])
    columns = np.concatenate([b, a, roots])
    graph = csr_matrix((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(top + 1, top + 1))
    below = breadth_first_order(graph, top, directed=True)[1][:top]
    direction = np.zeros(len(pieces), dtype=np.int8)
    direction[plain_piece] = np.where(below[a] == b, 1, np.where(below[b] == a, -1, 0))
    return direction
