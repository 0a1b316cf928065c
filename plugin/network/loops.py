"""Flow in one system that has rings or several outlets.

Known levels decide by flooding: water rises from the outlets, always over the lowest place first, and
every piece flows from where the flood came later to where it came earlier. That never makes a pond and
never goes round in circles. Where levels are unknown a ring counts as open both ways, and between two
outlets each takes the half nearer to it.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import count

import networkx as nx
import numpy as np

from .pieces import Pieces

_ROOT = -1


@dataclass(frozen=True)
class System:
    """The pieces of one system: end nodes, distances along their lines; outlets; levels of the nodes."""

    a: list[int]
    b: list[int]
    from_m: list[float]
    to_m: list[float]
    outlets: list[int]
    level_m: dict[int, float]

    @classmethod
    def of(cls, pieces: Pieces, members: np.ndarray, outlets: np.ndarray, level_m: np.ndarray) -> System:
        a, b = pieces.node_from[members].tolist(), pieces.node_to[members].tolist()
        nodes = sorted(set(a) | set(b))
        known = {n: level_m[n] for n in nodes if np.isfinite(level_m[n])}
        return cls(a, b, pieces.from_m[members].tolist(), pieces.to_m[members].tolist(), outlets.tolist(), known)

    def neighbours(self) -> dict[int, list[tuple[int, int]]]:
        """Node -> (piece, node at its other end)."""
        around: dict[int, list[tuple[int, int]]] = {n: [] for n in (*self.a, *self.b)}
        for k, (a, b) in enumerate(zip(self.a, self.b)):
            around[a].append((k, b))
            around[b].append((k, a))
        return around


@dataclass
class Solved:
    """Direction and ring number by piece of the system; divides as (piece, distance along its line, assumed)."""

    direction: np.ndarray
    loop: np.ndarray
    divides: list[tuple[int, float, bool]] = field(default_factory=list)


def orient_system(system: System, high_point: Callable[[int], float]) -> Solved:
    """Directions of one system with rings or several outlets (`high_point` as in direction.orient)."""
    rings = _blocks(system, with_root=False)
    solved = Solved(np.zeros(len(system.a), dtype=np.int8), np.array(rings, dtype=np.int64))
    roots = system.outlets or _lowest(system)
    if not roots:
        return solved
    blocks = _blocks(system, with_root=len(roots) > 1, roots=roots)
    unknown = _blocks_without_levels(system, blocks)
    rank, via = _flood(system, roots)
    distance = _distances(system, roots)
    for k, (a, b) in enumerate(zip(system.a, system.b)):
        if blocks[k] in unknown:
            _by_distance(system, solved, k, distance, is_ring=rings[k] >= 0)
        else:
            solved.direction[k] = 1 if rank[a] > rank[b] else -1
            meets = blocks[k] >= 0 and k not in via
            top = high_point(k) if meets else np.nan
            if meets and np.isfinite(top):
                solved.divides.append((k, float(top), False))
            elif a == b:
                solved.direction[k] = 0
    return solved


def _by_distance(system: System, solved: Solved, k: int, distance: dict[int, float], is_ring: bool) -> None:
    """A ring without levels is open both ways; between two outlets the water goes to the nearer one."""
    if is_ring:
        return
    a, b = system.a[k], system.b[k]
    length = system.to_m[k] - system.from_m[k]
    solved.direction[k] = 1 if distance[a] > distance[b] else -1
    past_a = (distance[b] + length - distance[a]) / 2.0  # how far from a the two ways are equally long
    if 1e-6 < past_a < length - 1e-6:
        solved.divides.append((k, system.from_m[k] + past_a, True))


def _blocks(system: System, with_root: bool, roots: list[int] = ()) -> list[int]:
    """Number of the ring each piece is part of, -1 for none; `with_root` also counts ways between roots as rings."""
    graph = nx.Graph()
    edges: dict[tuple[int, int], list[int]] = {}
    for k, (a, b) in enumerate(zip(system.a, system.b)):
        graph.add_edge(a, b)
        edges.setdefault((min(a, b), max(a, b)), []).append(k)
    if with_root:
        graph.add_edges_from((_ROOT, n) for n in roots)
    graph.remove_edges_from(list(nx.selfloop_edges(graph)))
    parallel = {pair for pair, pieces in edges.items() if len(pieces) > 1}
    cut = [pair for pair in nx.bridges(graph) if (min(pair), max(pair)) not in parallel]
    graph.remove_edges_from(cut)
    number: dict[int, int] = {}
    for i, part in enumerate(part for part in nx.connected_components(graph) if len(part) > 1):
        number.update(dict.fromkeys(part, i))
    bridge = {(min(pair), max(pair)) for pair in cut}
    selfs = count(len(number))
    out = [-1] * len(system.a)
    for pair, pieces in edges.items():
        for k in pieces:
            if pair[0] == pair[1]:
                out[k] = next(selfs)  # one pipe that ends where it begins is a ring of its own
            elif pair not in bridge:
                out[k] = number[pair[0]]
    return out


def _blocks_without_levels(system: System, blocks: list[int]) -> set[int]:
    """Rings (and ways between outlets) in which some node has no known level."""
    ends = ((block, n) for k, block in enumerate(blocks) if block >= 0 for n in (system.a[k], system.b[k]))
    return {block for block, n in ends if n not in system.level_m}


def _lowest(system: System) -> list[int]:
    """The lowest node of a system without outlet whose levels are all known and differ."""
    levels = system.level_m
    if len(levels) < len({*system.a, *system.b}) or min(levels.values()) == max(levels.values()):
        return []
    return [min(levels, key=lambda n: levels[n])]


def _flood(system: System, roots: list[int]) -> tuple[dict[int, int], set[int]]:
    """Order in which a rising flood reaches the nodes, and the pieces it came by."""
    around = system.neighbours()
    queue = [(system.level_m.get(n, -np.inf), i, n, -1) for i, n in enumerate(sorted(roots))]
    heapq.heapify(queue)
    rank: dict[int, int] = {}
    via: set[int] = set()
    pushed = len(queue)
    while queue:
        level, _, node, piece = heapq.heappop(queue)
        if node in rank:
            continue
        rank[node] = len(rank)
        via.add(piece)
        for k, beyond in around[node]:
            if beyond not in rank:
                pushed += 1
                heapq.heappush(queue, (max(level, system.level_m.get(beyond, -np.inf)), pushed, beyond, k))
    return rank, via


def _distances(system: System, roots: list[int]) -> dict[int, float]:
    """Length of pipe from every node to the nearest root."""
    graph = nx.Graph()
    for a, b, from_m, to_m in zip(system.a, system.b, system.from_m, system.to_m):
        length = to_m - from_m
        if not graph.has_edge(a, b) or graph[a][b]["weight"] > length:
            graph.add_edge(a, b, weight=length)
    return nx.multi_source_dijkstra_path_length(graph, set(roots))
