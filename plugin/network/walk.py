"""A walk along pipes from one place to another: down to the outlet, or between any two places of one network."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
import shapely

from .network import Network
from .ranges import overlaps
from .trace import Downstream, PlaceOnPipe, trace_downstream

_SAME_M = 1e-6


class NoWayError(ValueError):
    """No pipe leads from one place to the other."""


@dataclass(frozen=True)
class Walk:
    """Stretches of pieces one after another, each walked from `start_m` to `end_m` of its line.

    `flows_back`: the water comes toward the start of the walk all the way; False: nobody says so, or it does not.
    `base_m`: length from the start of the walk to the outlet where the water goes on to one, else NaN.
    """

    piece: np.ndarray
    start_m: np.ndarray
    end_m: np.ndarray
    flows_back: bool
    base_m: float

    @property
    def length_m(self) -> np.ndarray:
        """Of each stretch."""
        return np.abs(self.end_m - self.start_m)

    @property
    def begins_m(self) -> np.ndarray:
        """Length of the walk before each stretch."""
        return np.cumsum(self.length_m) - self.length_m

    @property
    def whole_m(self) -> float:
        return float(self.length_m.sum())

    @property
    def first_station_m(self) -> float:
        """Stations count from the outlet where there is one, else from the start of the walk."""
        return self.base_m if np.isfinite(self.base_m) else 0.0

    @property
    def low_high_m(self) -> tuple[np.ndarray, np.ndarray]:
        """Each stretch as from and to along its line, from < to."""
        return np.minimum(self.start_m, self.end_m), np.maximum(self.start_m, self.end_m)

    def station_at(self, stretch: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Stations of places `at_m` along the lines of stretches."""
        return self.first_station_m + self.begins_m[stretch] + np.abs(at_m - self.start_m[stretch])

    def overlapping(
        self, network: Network, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Rows of stretches of line that share some length with the walk, and the stations of what they share."""
        own, (low, high) = network.pieces.line[self.piece], self.low_high_m
        order = np.lexsort((low, own))
        rows = np.flatnonzero(np.isin(line, own))
        found, of, begin, end = overlaps(network.lines, line[rows], from_m[rows], to_m[rows], own[order], low[order],
                                         high[order])
        ends = np.sort([self.station_at(order[of], begin), self.station_at(order[of], end)], axis=0)
        return rows[found], ends[0], ends[1]

    def place_at(self, network: Network, station_m: float) -> tuple[int, float]:
        """Line, and place along it, of a station."""
        walked_m = station_m - self.first_station_m
        stretch = max(int(np.searchsorted(self.begins_m, walked_m, side="right")) - 1, 0)
        done_m = min(max(walked_m - float(self.begins_m[stretch]), 0.0), float(self.length_m[stretch]))
        sign = 1.0 if self.end_m[stretch] >= self.start_m[stretch] else -1.0
        return int(network.pieces.line[self.piece[stretch]]), float(self.start_m[stretch] + sign * done_m)

    def shapes(self, network: Network) -> np.ndarray:
        """A line for each stretch, drawn the way of the walk."""
        low, high = self.low_high_m
        return network.lines.cut(network.pieces.line[self.piece], low, high, backward=self.start_m > self.end_m)

    def nearest(self, network: Network, xy_m: tuple[float, float]) -> tuple[float, float]:
        """Station of the place nearest to a point, and the distance to that place."""
        shapes, point = self.shapes(network), shapely.Point(*xy_m)
        distance_m = shapely.distance(shapes, point)
        nearest = int(np.argmin(distance_m))
        walked_m = self.begins_m[nearest] + shapely.line_locate_point(shapes[nearest], point)
        return self.first_station_m + float(walked_m), float(distance_m[nearest])


def walk_up_from_outlet(network: Network, place: PlaceOnPipe) -> Walk:
    """From the end of the way of the water (the outlet where one is reached) up to a place."""
    way = trace_downstream(network, place)
    return _up_the_way(network, way, 0.0 if way.outlet >= 0 else float("nan"))


def walk_between(network: Network, first: PlaceOnPipe, last: PlaceOnPipe) -> Walk:
    """Between two places: from the lower one up where water of the one passes the other, else the shortest way of
    pipe from the first to the last, whichever way the water runs. Raises NoWayError."""
    for high, low in ((first, last), (last, first)):
        walk = _up_from(network, low, high)
        if walk is not None:
            return walk
    return _shortest(network, first, last)


def _up_from(network: Network, low: PlaceOnPipe, high: PlaceOnPipe) -> Walk | None:
    """From one place up to another; None where the water of the upper one does not pass the lower."""
    way, below = trace_downstream(network, high), trace_downstream(network, low)
    pieces, from_m, to_m = way.stretches(network.pieces)
    at = np.flatnonzero(pieces == low.piece)
    if not len(at):
        return None
    on = int(at[0])
    if not from_m[on] - _SAME_M <= low.at_m <= to_m[on] + _SAME_M:
        return None
    if network.direction[pieces[on]] >= 0:
        to_m[on] = low.at_m
    else:
        from_m[on] = low.at_m
    cut = Downstream(pieces[: on + 1], float(from_m[0]), float(to_m[0]), way.outlet, way.length_m)
    return _up_the_way(network, cut, below.length_m if below.outlet >= 0 else float("nan"), (from_m[on], to_m[on]))


def _up_the_way(
    network: Network, way: Downstream, base_m: float, last_m: tuple[float, float] | None = None
) -> Walk:
    """The way of the water walked backward; `last_m`: from and to on its last piece where that is not all of it."""
    pieces, from_m, to_m = way.stretches(network.pieces)
    if last_m is not None:
        from_m[-1], to_m[-1] = last_m
    along = network.direction[pieces] >= 0
    low, high = np.where(along, to_m, from_m), np.where(along, from_m, to_m)
    some = np.abs(high - low)[::-1] > _SAME_M
    sure = bool((network.direction[pieces] != 0).all())
    return Walk(pieces[::-1][some], low[::-1][some], high[::-1][some], sure, base_m)


def _shortest(network: Network, first: PlaceOnPipe, last: PlaceOnPipe) -> Walk:
    if first.piece == last.piece:
        return _walk([first.piece], [first.at_m], [last.at_m])
    pieces = network.pieces
    here = network.component[pieces.node_from[first.piece]]
    if here != network.component[pieces.node_from[last.piece]]:
        raise NoWayError("No pipe leads from the one place to the other: they belong to two systems, or the joint "
                         "between them is only proposed.")
    rows = np.flatnonzero(network.component[pieces.node_from] == here)
    graph = nx.Graph()
    for piece in rows[np.argsort(-pieces.length_m[rows], kind="stable")].tolist():  # of two ways the shorter stays
        graph.add_edge(int(pieces.node_from[piece]), int(pieces.node_to[piece]), piece=piece,
                       weight=float(pieces.length_m[piece]))
    for name, place in (("first", first), ("last", last)):
        for node, end_m in _ends(network, place.piece):
            graph.add_edge(name, node, piece=place.piece, weight=abs(end_m - place.at_m))
    nodes = nx.dijkstra_path(graph, "first", "last")
    return _along(network, graph, nodes, first, last)


def _along(network: Network, graph: nx.Graph, nodes: list, first: PlaceOnPipe, last: PlaceOnPipe) -> Walk:
    found, start, end = [], [], []
    for a, b in zip(nodes[:-1], nodes[1:]):
        piece = graph.edges[a, b]["piece"]
        ends = dict(_ends(network, piece))
        found.append(piece)
        start.append(first.at_m if a == "first" else ends[a])
        end.append(last.at_m if b == "last" else ends[b])
    return _walk(found, start, end)


def _walk(piece: list, start: list, end: list) -> Walk:
    piece, start_m, end_m = np.array(piece, dtype=np.int64), np.array(start, float), np.array(end, float)
    some = np.abs(end_m - start_m) > _SAME_M
    return Walk(piece[some], start_m[some], end_m[some], False, float("nan"))


def _ends(network: Network, piece: int) -> tuple[tuple[int, float], tuple[int, float]]:
    """Nodes of a piece with their places along its line."""
    pieces = network.pieces
    return ((int(pieces.node_from[piece]), float(pieces.from_m[piece])),
            (int(pieces.node_to[piece]), float(pieces.to_m[piece])))
