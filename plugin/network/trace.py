"""From a place on a pipe: what drains through it, and which way its water takes."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
import shapely

from .network import Network


class NoPipeError(ValueError):
    """No pipe lies near the point; the message says how far the nearest one is."""


@dataclass(frozen=True)
class PlaceOnPipe:
    """A piece, and how far along its line the place lies."""

    piece: int
    at_m: float
    distance_m: float


@dataclass(frozen=True)
class Upstream:
    """What drains through a place.

    `pieces` lie wholly above; `clicked` is the piece with the place, of which `from_m` to `to_m` lies above
    (no length where the place is the top of the piece). `weight`, `clicked_weight`: part of each piece's
    water that comes through the place, less than 1 where a split lets some go another way.
    """

    pieces: np.ndarray
    weight: np.ndarray
    clicked: int
    from_m: float
    to_m: float


@dataclass(frozen=True)
class Downstream:
    """The way of the water: `pieces` in order, the first is the one with the place, of which `from_m` to `to_m`
    lies below. `outlet` is a row of network.outlets, -1 where no outlet is reached; `length_m` the way there."""

    pieces: np.ndarray
    from_m: float
    to_m: float
    outlet: int
    length_m: float


def place_near(network: Network, xy_m: tuple[float, float], reach_m: float) -> PlaceOnPipe:
    """The place on a pipe nearest to a point; at a joint, the piece that leads on from it.

    Raises NoPipeError where no pipe lies within `reach_m`.
    """
    used = np.unique(network.pieces.line)
    if not len(used):
        raise NoPipeError("There is no pipe in the ground in this layer.")
    point = shapely.Point(*xy_m)
    distance = shapely.distance(network.lines.geometry[used], point)
    best = int(np.argmin(distance))
    if distance[best] > reach_m:
        near = f"the nearest is {distance[best]:.0f} m away"
        raise NoPipeError(f"No pipe lies within {reach_m:.0f} m of the point; {near}.")
    line = used[best]
    at = float(shapely.line_locate_point(network.lines.geometry[line], point))
    rows = np.flatnonzero(network.pieces.line == line)
    at = float(np.clip(at, network.pieces.from_m[rows].min(), network.pieces.to_m[rows].max()))
    inside = rows[(network.pieces.from_m[rows] <= at) & (network.pieces.to_m[rows] >= at)]
    piece = int(inside[0]) if len(inside) else int(rows[np.argmin(np.abs(network.pieces.from_m[rows] - at))])
    return _lead_on(network, PlaceOnPipe(piece, at, float(distance[best])))


def _lead_on(network: Network, place: PlaceOnPipe, exact_m: float = 0.01) -> PlaceOnPipe:
    """At a joint the piece below it, so that all that joins there drains through the place."""
    piece, pieces = place.piece, network.pieces
    for node, at in ((pieces.node_from[piece], pieces.from_m[piece]), (pieces.node_to[piece], pieces.to_m[piece])):
        if abs(place.at_m - at) <= exact_m:
            leaving = np.flatnonzero((network.node_up == node) & (network.direction != 0))
            if len(leaving) == 1:
                below = int(leaving[0])
                top = pieces.from_m[below] if network.direction[below] > 0 else pieces.to_m[below]
                return PlaceOnPipe(below, float(top), place.distance_m)
            return PlaceOnPipe(piece, float(at), place.distance_m)
    return place


def trace_upstream(network: Network, place: PlaceOnPipe, share: np.ndarray) -> Upstream:
    """All pieces whose water comes through the place.

    `share`: part of the water of its upper node that each piece takes (1 where nothing splits).
    """
    pieces, clicked = network.pieces, place.piece
    direction = int(network.direction[clicked])
    begin, end = float(pieces.from_m[clicked]), float(pieces.to_m[clicked])
    above = (begin, place.at_m) if direction >= 0 else (place.at_m, end)
    if direction == 0 and not network.open_both_ways[clicked]:
        return Upstream(np.zeros(0, dtype=np.int64), np.zeros(0), clicked, place.at_m, place.at_m)
    top = int(network.node_up[clicked])
    at_foot = abs(place.at_m - (end if direction >= 0 else begin)) <= 0.01
    foot = int(network.node_down[clicked])
    graph = network.graph(int(network.piece_system[clicked]))
    is_outlet = foot in set(network.outlets.node.tolist())
    if at_foot and (is_outlet or not graph.out_degree(foot)):
        return _through_node(network, graph, foot, clicked, above, share)
    found, weight = _above(graph, top, share, start=float(share[clicked]))
    rest = found != clicked
    return Upstream(found[rest], weight[rest], clicked, *above)


def _through_node(
    network: Network, graph: nx.MultiDiGraph, node: int, clicked: int, above: tuple[float, float], share: np.ndarray
) -> Upstream:
    """At an outlet everything that runs into it, of whatever pipe."""
    found, weight = _above(graph, node, share, start=1.0)
    rest = found != clicked
    return Upstream(found[rest], weight[rest], clicked, *above)


def _above(graph: nx.MultiDiGraph, top: int, share: np.ndarray, start: float) -> tuple[np.ndarray, np.ndarray]:
    """Pieces above a node, and the part of each one's water that reaches it."""
    reached = nx.ancestors(graph, top) | {top}
    part = graph.subgraph(reached)
    weight: dict[int, float] = dict.fromkeys(reached, 1.0)
    pieces: dict[int, float] = {}
    ring_free = nx.is_directed_acyclic_graph(part)
    for node in reversed(list(nx.topological_sort(part))) if ring_free else reached:
        if ring_free and node != top:
            weight[node] = sum(share[d["piece"]] * weight[v] for _, v, d in part.out_edges(node, data=True))
        elif node == top:
            weight[node] = start
        for _, _, data in part.in_edges(node, data=True):
            pieces[data["piece"]] = weight[node]
    order = sorted(pieces)
    return np.array(order, dtype=np.int64), np.array([pieces[p] for p in order])


def trace_downstream(network: Network, place: PlaceOnPipe) -> Downstream:
    """The shortest way down from a place to an outlet, or as far as the water gets."""
    pieces, clicked = network.pieces, place.piece
    direction = int(network.direction[clicked])
    begin, end = float(pieces.from_m[clicked]), float(pieces.to_m[clicked])
    if direction == 0 and not network.open_both_ways[clicked]:
        return Downstream(np.array([clicked]), place.at_m, place.at_m, -1, float("nan"))
    below = (place.at_m, end) if direction >= 0 else (begin, place.at_m)
    graph = network.graph(int(network.piece_system[clicked]))
    outlets = {int(n): k for k, n in enumerate(network.outlets.node.tolist())}
    foot = int(network.node_down[clicked])
    length = {p: float(pieces.length_m[p]) for _, _, p in graph.edges(data="piece")}

    def cost(_up: int, _down: int, edges: dict) -> float:
        return min(length[d["piece"]] for d in edges.values())

    ways, nodes = nx.single_source_dijkstra(graph, foot, weight=cost)
    ends = [n for n in ways if n in outlets] or [n for n in ways if not graph.out_degree(n)] or [foot]
    goal = min(ends, key=lambda n: ways[n])
    route = [clicked]
    for a, b in zip(nodes[goal][:-1], nodes[goal][1:]):
        route.append(min((d["piece"] for d in graph[a][b].values()), key=lambda p: length[p]))
    total = below[1] - below[0] + ways[goal]
    return Downstream(np.array(route), *below, outlets.get(goal, -1), total if goal in outlets else float("nan"))
