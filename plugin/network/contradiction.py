"""Systems whose only outlet lies at the high end of their main."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..elevation.grade import p_reverse
from ..limits import Limits
from .network import Network

_TRUNK_ROLES = ("main", "submain", "outlet_pipe")


@dataclass(frozen=True)
class Contradicted:
    """Lines of the way from the far end of the main down to the outlet; how far that end lies below it; chance."""

    line: np.ndarray
    rise_m: np.ndarray
    probability: np.ndarray
    outlet_node: np.ndarray


def contradicted(network: Network, limits: Limits) -> Contradicted:
    """Every line on a main whose far end lies, as good as surely, below the only outlet of its system.

    The main is the longest way up from the outlet along mains and submains, or along any pipe in a system
    without them; it counts from the farthest place with a known invert.
    """
    below, distance, trunk = _ways_down(network)
    outlets = network.outlets.node
    per_system = np.bincount(network.component[outlets], minlength=len(network.nodes))
    found: list[tuple[int, float, float, int]] = []
    tops = _tops(network, trunk, distance)
    for node in outlets[per_system[network.component[outlets]] == 1].tolist():
        top = tops.get(int(network.component[node]), -1)
        if top < 0:
            continue
        path = _path(network, top, below)
        z_top, s_top = _end_level(network, path[0], upper=True)
        z_foot, s_foot = _end_level(network, path[-1], upper=False)
        chance = float(p_reverse(np.array([z_top - z_foot]), np.array([np.hypot(s_top, s_foot)]))[0])
        if chance >= limits["p_reverse"]:
            lines = dict.fromkeys(network.pieces.line[path].tolist())
            found += [(line, z_foot - z_top, chance, node) for line in lines]
    line, rise, chance, node = (np.array(c) for c in zip(*found)) if found else (np.zeros(0, dtype=np.int64),) * 4
    return Contradicted(line, rise.astype(float), chance.astype(float), node)


def _ways_down(network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The piece below each node on its way to an outlet (-1), the length of that way (inf), and trunk pieces."""
    nodes = len(network.nodes)
    role = network.drains.role[network.piece_drain]
    is_trunk = np.isin(role.astype(str), _TRUNK_ROLES)
    has_trunk = np.bincount(network.component[network.node_up[is_trunk]], minlength=nodes) > 0
    trunk = (is_trunk | ~has_trunk[network.component[network.node_up]]) & (network.direction != 0)
    rows = np.flatnonzero(trunk)
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import dijkstra

    length = np.maximum(network.pieces.length_m[rows], 1e-9)
    order = np.lexsort((-length, network.node_up[rows], network.node_down[rows]))
    rows = rows[order]  # of parallel pieces the shorter one is written last and stands
    graph = csr_matrix(
        (network.pieces.length_m[rows], (network.node_down[rows], network.node_up[rows])), shape=(nodes, nodes)
    )
    if not len(network.outlets) or not len(rows):
        return np.full(nodes, -1), np.full(nodes, np.inf), trunk
    distance, before, _ = dijkstra(graph, indices=network.outlets.node, min_only=True, return_predecessors=True)
    below = np.full(nodes, -1, dtype=np.int64)
    on_way = before[network.node_up[rows]] == network.node_down[rows]
    below[network.node_up[rows[on_way]]] = rows[on_way]
    return below, distance, trunk


def _tops(network: Network, trunk: np.ndarray, distance: np.ndarray) -> dict[int, int]:
    """By system (component) the trunk piece whose upper end is farthest from the outlet and has a known level."""
    rows = np.flatnonzero(trunk & np.isfinite(distance[network.node_up]))
    pieces = network.pieces
    at = np.where(network.direction[rows] > 0, pieces.from_m[rows], pieces.to_m[rows])
    rows = rows[np.isfinite(network.levels.level_at(pieces.line[rows], at))]
    order = rows[np.argsort(distance[network.node_up[rows]], kind="stable")]
    return dict(zip(network.component[network.node_up[order]].tolist(), order.tolist()))


def _path(network: Network, piece: int, below: np.ndarray) -> np.ndarray:
    path = [piece]
    while below[network.node_down[path[-1]]] >= 0:
        path.append(int(below[network.node_down[path[-1]]]))
    return np.array(path)


def _end_level(network: Network, piece: int, upper: bool) -> tuple[float, float]:
    """Level and error at the upper or lower end of a piece."""
    at_start = (network.direction[piece] > 0) == upper
    at = network.pieces.from_m[piece] if at_start else network.pieces.to_m[piece]
    line, place = network.pieces.line[[piece]], np.array([at])
    return float(network.levels.level_at(line, place)[0]), float(network.levels.sigma_at(line, place)[0])
