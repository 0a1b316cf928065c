"""Systems whose only outlet lies at the high end of their main."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

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
    outlet, top = _single_outlets_with_tops(network, trunk, distance)
    foot_m, foot_sigma_m = _levels_at_outlets(network, trunk, outlet)
    top_m, top_sigma_m = _end_levels(network, top, upper=True)
    chance = p_reverse(top_m - foot_m, np.hypot(top_sigma_m, foot_sigma_m))
    found: list[tuple[int, float, float, int]] = []
    for k in np.flatnonzero(chance >= limits["p_reverse"]).tolist():
        lines = dict.fromkeys(network.pieces.line[_path(network, int(top[k]), below)].tolist())
        found += [(line, foot_m[k] - top_m[k], chance[k], outlet[k]) for line in lines]
    line, rise, chance, node = (np.array(c) for c in zip(*found)) if found else (np.zeros(0, dtype=np.int64),) * 4
    return Contradicted(line, rise.astype(float), chance.astype(float), node.astype(np.int64))


def _ways_down(network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The piece below each node on its way to an outlet (-1), the length of that way (inf), and trunk pieces."""
    nodes = len(network.nodes)
    role = network.drains.role[network.piece_drain]
    is_trunk = np.isin(role.astype(str), _TRUNK_ROLES)
    has_trunk = np.bincount(network.component[network.node_up[is_trunk]], minlength=nodes) > 0
    trunk = (is_trunk | ~has_trunk[network.component[network.node_up]]) & (network.direction != 0)
    rows = np.flatnonzero(trunk)
    order = np.lexsort((network.pieces.length_m[rows], network.node_up[rows], network.node_down[rows]))
    pair = np.column_stack([network.node_down[rows], network.node_up[rows]])[order]
    shortest = np.ones(len(order), dtype=bool)  # of parallel pieces
    shortest[1:] = (pair[1:] != pair[:-1]).any(axis=1)
    rows = rows[order[shortest]]
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


def _single_outlets_with_tops(
    network: Network, trunk: np.ndarray, distance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Outlets that are the only one of their system, and the trunk piece whose known upper end is farthest away."""
    rows = np.flatnonzero(trunk & np.isfinite(distance[network.node_up]))
    rows = rows[np.isfinite(_end_levels(network, rows, upper=True)[0])]
    order = rows[np.argsort(distance[network.node_up[rows]], kind="stable")]
    top = np.full(int(network.component.max(initial=-1)) + 1, -1, dtype=np.int64)
    top[network.component[network.node_up[order]]] = order
    outlet = network.outlets.node
    single = np.bincount(network.component[outlet], minlength=len(top))[network.component[outlet]] == 1
    outlet = outlet[single & (top[network.component[outlet]] >= 0)]
    return outlet, top[network.component[outlet]]


def _levels_at_outlets(network: Network, trunk: np.ndarray, outlet: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lowest known invert, with its error, of the trunk pieces that end at each outlet; NaN where none is known."""
    rows = np.flatnonzero(trunk & np.isin(network.node_down, outlet))
    level, sigma = _end_levels(network, rows, upper=False)
    rows, level, sigma = rows[np.isfinite(level)], level[np.isfinite(level)], sigma[np.isfinite(level)]
    order = np.argsort(-level, kind="stable")  # the lowest is written last and stands
    at_node = np.full((2, len(network.nodes)), np.nan)
    at_node[:, network.node_down[rows[order]]] = level[order], sigma[order]
    return at_node[0][outlet], at_node[1][outlet]


def _path(network: Network, piece: int, below: np.ndarray) -> np.ndarray:
    path = [piece]
    while below[network.node_down[path[-1]]] >= 0:
        path.append(int(below[network.node_down[path[-1]]]))
    return np.array(path)


def _end_levels(network: Network, piece: np.ndarray, upper: bool) -> tuple[np.ndarray, np.ndarray]:
    """Level and error at the upper or lower end of each piece."""
    at_start = (network.direction[piece] > 0) == upper
    at = np.where(at_start, network.pieces.from_m[piece], network.pieces.to_m[piece])
    line = network.pieces.line[piece]
    return network.levels.level_at(line, at), network.levels.sigma_at(line, at)
