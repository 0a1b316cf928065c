"""From a place on a pipe: what drains through it, and which way its water takes."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
import shapely

from .flow import Downward
from .network import Network
from .pieces import Pieces

_EXACT_M = 0.01  # a place closer than this to an end of a piece is that end


class NoPipeError(ValueError):
    """No pipe lies near the point; `distance_m` is that of the nearest pipe, inf where there is none."""

    def __init__(self, distance_m: float) -> None:
        super().__init__(f"the nearest pipe is {distance_m:.1f} m away")
        self.distance_m = distance_m


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

    def stretches(self, pieces: Pieces) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pieces and, along their lines, where what drains through the place begins and ends; the clicked one last."""
        rows = np.append(self.pieces, self.clicked)
        return (
            rows, np.append(pieces.from_m[self.pieces], self.from_m), np.append(pieces.to_m[self.pieces], self.to_m)
        )


@dataclass(frozen=True)
class Downstream:
    """The way of the water: `pieces` in order, the first is the one with the place, of which `from_m` to `to_m`
    lies below. `outlet` is a row of network.outlets, -1 where no outlet is reached; `length_m` the way there."""

    pieces: np.ndarray
    from_m: float
    to_m: float
    outlet: int
    length_m: float

    def stretches(self, pieces: Pieces) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Pieces and, along their lines, where the way begins and ends on each."""
        from_m, to_m = pieces.from_m[self.pieces].copy(), pieces.to_m[self.pieces].copy()
        from_m[0], to_m[0] = self.from_m, self.to_m
        return self.pieces, from_m, to_m


def place_near(network: Network, xy_m: tuple[float, float], reach_m: float) -> PlaceOnPipe:
    """The place on a pipe nearest to a point; at a joint, the piece that leads on from it.

    Raises NoPipeError where no pipe lies within `reach_m`.
    """
    used, tree = network.line_index
    if not len(used):
        raise NoPipeError(float("inf"))
    point = shapely.Point(*xy_m)
    (_, hits), distances = tree.query_nearest([point], return_distance=True)
    distance = float(distances[0])
    if distance > reach_m:
        raise NoPipeError(distance)
    line = used[hits.min()]  # of pipes equally near the one drawn first
    at = float(shapely.line_locate_point(network.lines.geometry[line], point))
    rows = np.flatnonzero(network.pieces.line == line)
    at = float(np.clip(at, network.pieces.from_m[rows].min(), network.pieces.to_m[rows].max()))
    inside = rows[(network.pieces.from_m[rows] <= at) & (network.pieces.to_m[rows] >= at)]
    piece = int(inside[0]) if len(inside) else int(rows[np.argmin(np.abs(network.pieces.from_m[rows] - at))])
    return _lead_on(network, PlaceOnPipe(piece, at, distance))


def _lead_on(network: Network, place: PlaceOnPipe, exact_m: float = _EXACT_M) -> PlaceOnPipe:
    """At a joint the piece below it, so that all that joins there drains through the place.

    Where no single piece leads on (an outlet, a split, a dead end) the foot of a piece that runs in.
    """
    piece, pieces = place.piece, network.pieces
    for node, at in ((pieces.node_from[piece], pieces.from_m[piece]), (pieces.node_to[piece], pieces.to_m[piece])):
        if abs(place.at_m - at) > exact_m:
            continue
        below, above = _leaving(network, node), _entering(network, node)
        if len(below) == 1:
            return PlaceOnPipe(int(below[0]), _top_m(network, below[0]), place.distance_m)
        if len(above) and piece not in above:
            return PlaceOnPipe(int(above[0]), _foot_m(network, above[0]), place.distance_m)
        return PlaceOnPipe(piece, float(at), place.distance_m)
    return place


def _leaving(network: Network, node: int) -> np.ndarray:
    """Pieces that take water from a node; none where it leaves the network."""
    if node in network.outlets.node:
        return np.zeros(0, dtype=np.int64)
    return np.flatnonzero((network.node_up == node) & (network.direction != 0))


def _entering(network: Network, node: int) -> np.ndarray:
    return np.flatnonzero((network.node_down == node) & (network.direction != 0))


def _top_m(network: Network, piece: int) -> float:
    """Distance along its line of the upper end of a piece."""
    return float(network.pieces.from_m[piece] if network.direction[piece] >= 0 else network.pieces.to_m[piece])


def _foot_m(network: Network, piece: int) -> float:
    return float(network.pieces.to_m[piece] if network.direction[piece] >= 0 else network.pieces.from_m[piece])


def trace_upstream(network: Network, place: PlaceOnPipe, down: Downward) -> Upstream:
    """All pieces whose water comes through the place; `down`: the pieces of the network from the top down."""
    clicked = place.piece
    if network.direction[clicked] == 0 and not network.open_both_ways[clicked]:
        return Upstream(np.zeros(0, dtype=np.int64), np.zeros(0), clicked, place.at_m, place.at_m)
    above = sorted((_top_m(network, clicked), place.at_m))
    foot = int(network.node_down[clicked])
    at_foot = abs(place.at_m - _foot_m(network, clicked)) <= _EXACT_M
    if at_foot and len(_leaving(network, foot)) != 1:
        found, weight = _above(network, down, foot, 1.0)  # everything that runs in there, of whatever pipe
    else:
        found, weight = _above(network, down, int(network.node_up[clicked]), _share_of(down, clicked))
    rest = found != clicked
    return Upstream(found[rest], weight[rest], clicked, *above)


def _share_of(down: Downward, piece: int) -> float:
    """Part of the water of its upper node that a piece takes; all of it in a ring open both ways."""
    row = np.flatnonzero(down.piece == piece)
    return float(down.share[row[0]]) if len(row) else 1.0


def _above(network: Network, down: Downward, node: int, start: float) -> tuple[np.ndarray, np.ndarray]:
    """Pieces above a node, and the part of each one's water that comes on from the node as `start` of all there."""
    system = network.component[network.pieces.node_from]
    rows = np.flatnonzero(system[down.piece] == network.component[node])[::-1]  # from the bottom up
    weight = {int(down.pool[node]): start}
    pieces: dict[int, float] = {}
    columns = (column[rows].tolist() for column in (down.piece, down.up, down.down, down.share))
    for piece, up, low, share in zip(*columns):
        part = weight.get(low, 0.0)
        if part > 0.0:
            pieces[piece] = part
            weight[up] = weight.get(up, 0.0) + share * part
    inner = np.flatnonzero(np.isin(down.inner_pool, list(weight)))
    pieces.update((int(down.inner[k]), weight[int(down.inner_pool[k])]) for k in inner)
    order = sorted(p for p, part in pieces.items() if part > 0.0)
    return np.array(order, dtype=np.int64), np.array([pieces[p] for p in order])


def trace_downstream(network: Network, place: PlaceOnPipe) -> Downstream:
    """The shortest way down from a place to an outlet, or as far as the water gets."""
    pieces, clicked = network.pieces, place.piece
    begin, end = float(pieces.from_m[clicked]), float(pieces.to_m[clicked])
    onward = (int(pieces.node_to[clicked]), place.at_m, end)
    back = (int(pieces.node_from[clicked]), begin, place.at_m)
    direction = int(network.direction[clicked])
    if direction:
        starts = [onward if direction > 0 else back]
    elif network.open_both_ways[clicked]:
        starts = [onward, back]
    else:
        return Downstream(np.array([clicked]), place.at_m, place.at_m, -1, float("nan"))
    ways = [_way_down(network, clicked, *start) for start in starts]
    return min(ways, key=lambda way: way.length_m if way.outlet >= 0 else np.inf)


def _way_down(network: Network, clicked: int, node: int, from_m: float, to_m: float) -> Downstream:
    """The shortest way through one end of the clicked piece, of which `from_m` to `to_m` lies on it."""
    graph = network.graph_below(int(network.piece_system[clicked]), node)
    outlets = {int(n): k for k, n in enumerate(network.outlets.node.tolist())}
    rows = np.array([piece for _, _, piece in graph.edges(data="piece")], dtype=np.int64)
    length = dict(zip(rows.tolist(), (network.pieces.to_m[rows] - network.pieces.from_m[rows]).tolist()))

    def cost(_up: int, _down: int, edges: dict) -> float:
        return min(length[d["piece"]] for d in edges.values())

    distance, nodes = nx.single_source_dijkstra(graph, node, weight=cost)
    ends = [n for n in distance if n in outlets] or [n for n in distance if not graph.out_degree(n)] or [node]
    goal = min(ends, key=lambda n: distance[n])
    route = [clicked]
    for a, b in zip(nodes[goal][:-1], nodes[goal][1:]):
        route.append(min((d["piece"] for d in graph[a][b].values()), key=lambda p: length[p]))
    reached = goal in outlets
    total = to_m - from_m + distance[goal] if reached else float("nan")
    return Downstream(np.array(route), from_m, to_m, outlets[goal] if reached else -1, total)


def why_no_direction(network: Network, piece: int) -> str:
    """A sentence where nobody knows which way the water runs in a piece; nothing where that is known."""
    if network.open_both_ways[piece]:
        return "This pipe is part of a ring without inverts; it counts as open both ways."
    if network.direction[piece]:
        return ""
    return (
        "Nothing tells which way the water flows in this pipe: its system has no outlet and no inverts that "
        "differ. Mark the outlet with a structure of kind outlet, or shoot two inverts."
    )


def outlet_key(network: Network, outlet: int) -> str | None:
    """Key of an outlet's structure; what it is where there is no structure; None where there is no outlet (-1)."""
    if outlet < 0:
        return None
    structure = int(network.outlets.structure[outlet])
    if structure >= 0:
        return network.structures.structure_id[structure]
    return "free end, assumed" if network.outlets.assumed[outlet] else "free end of the outlet pipe"
