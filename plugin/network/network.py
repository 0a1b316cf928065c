"""The network of one layer of drains, as arrays, and as a graph for the system asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order

from ..limits import Limits
from ..tables import Drains, Shots, Structures
from .direction import Flow
from .duplicates import Duplicates
from .joints import Crossings, Joints
from .levels import Levels
from .lines import Lines, Unusable
from .neighbourhood import neighbourhoods, reach_of
from .outlets import Outlets
from .past_outlet import PastOutlet
from .pieces import Nodes, Pieces


@dataclass(frozen=True)
class Network:
    """Lines, pieces and nodes with what was found on the way; made by build.build_network.

    Arrays named `..._of_line`, `piece_...` and `node_...` go by line, piece and node. `proposed` holds every
    proposed joint, `applied` which of them are in force.
    """

    drains: Drains
    structures: Structures
    shots: Shots
    lines: Lines
    active: np.ndarray
    duplicates: Duplicates
    unusable: list[Unusable]
    levels: Levels
    made: Joints
    proposed: Joints
    applied: np.ndarray
    crossings: Crossings
    off_pipe_outlets: np.ndarray
    pieces: Pieces
    nodes: Nodes
    component: np.ndarray
    outlets: Outlets
    flow: Flow
    past_outlet: PastOutlet
    assumed_divide_nodes: np.ndarray
    tolerance_m: float
    limits: Limits
    accept_proposed: bool

    @property
    def touch_m(self) -> float:
        """Pieces of one line no farther apart follow one another: a node may have swallowed what lay between them."""
        return max(2.0 * self.tolerance_m, 0.02)

    @property
    def direction(self) -> np.ndarray:
        """+1: the piece flows as it is drawn; -1: against; 0: not known, or open both ways."""
        return self.flow.direction

    @cached_property
    def node_up(self) -> np.ndarray:
        """Upper node of every piece (the one drawn first where the direction is 0)."""
        return np.where(self.direction >= 0, self.pieces.node_from, self.pieces.node_to)

    @cached_property
    def node_down(self) -> np.ndarray:
        return np.where(self.direction >= 0, self.pieces.node_to, self.pieces.node_from)

    @cached_property
    def piece_drain(self) -> np.ndarray:
        """Row in `drains` of every piece."""
        return self.lines.drain[self.pieces.line]

    @cached_property
    def open_both_ways(self) -> np.ndarray:
        """Pieces of rings in which nothing tells the direction."""
        return (self.direction == 0) & (self.flow.loop >= 0)

    @cached_property
    def piece_system(self) -> np.ndarray:
        """Number of the system of every piece, from 1 in the order of the drains."""
        raw = self.component[self.pieces.node_from]
        first = np.full(int(raw.max()) + 1 if len(raw) else 0, np.iinfo(np.int64).max)
        np.minimum.at(first, raw, self.piece_drain)
        rank = np.empty(len(first), dtype=np.int64)
        rank[np.argsort(first, kind="stable")] = np.arange(1, len(first) + 1)
        return rank[raw]

    @cached_property
    def system_count(self) -> int:
        return len(np.unique(self.component[self.pieces.node_from]))

    @cached_property
    def has_outlet(self) -> np.ndarray:
        """Whether the system of each piece has an outlet."""
        served = np.unique(self.component[self.outlets.node])
        return np.isin(self.component[self.pieces.node_from], served)

    @cached_property
    def drains_without_outlet(self) -> np.ndarray:
        """Rows of drains in the network from which no outlet can be reached."""
        return np.unique(self.piece_drain[~self.has_outlet])

    @cached_property
    def drains_in_network(self) -> np.ndarray:
        return np.unique(self.piece_drain)

    @cached_property
    def component_if_joined(self) -> np.ndarray:
        """Component of every node, were all proposed joints accepted."""
        from scipy.sparse import csr_matrix
        from scipy.sparse.csgraph import connected_components

        lines = len(self.lines)
        node = np.full(lines, -1)
        node[self.pieces.line] = self.component[self.pieces.node_from]
        a, b = node[self.proposed.line], node[self.proposed.other]
        both = (a >= 0) & (b >= 0)
        size = int(self.component.max()) + 1 if len(self.component) else 0
        graph = csr_matrix((np.ones(both.sum(), dtype=np.int8), (a[both], b[both])), shape=(size, size))
        return connected_components(graph, directed=False)[1][self.component]

    @cached_property
    def drains_waiting(self) -> np.ndarray:
        """Drains that reach no outlet now and would, were all proposed joints accepted."""
        joined = self.component_if_joined
        would = np.isin(joined[self.pieces.node_from], joined[self.outlets.node])
        return np.unique(self.piece_drain[would & ~self.has_outlet])

    @cached_property
    def neighbourhood(self) -> np.ndarray:
        """A number for every line; lines of different numbers were built independently of each other."""
        reach_m = reach_of(self.tolerance_m, self.limits)
        return neighbourhoods(self.lines, self.drains, self.structures, self.shots, reach_m)

    @cached_property
    def node_degree(self) -> np.ndarray:
        return np.bincount(np.concatenate([self.pieces.node_from, self.pieces.node_to]), minlength=len(self.nodes))

    @cached_property
    def used(self) -> np.ndarray:
        """Whether each line is in the network."""
        used = np.zeros(len(self.lines), dtype=bool)
        used[self.pieces.line] = True
        return used

    @cached_property
    def line_index(self) -> tuple[np.ndarray, shapely.STRtree]:
        """Lines in the network, and a tree of their geometries to ask for those near a place."""
        used = np.unique(self.pieces.line)
        return used, shapely.STRtree(self.lines.geometry[used])

    def graph(self, system: int) -> nx.MultiDiGraph:
        """One system as a graph: nodes by number, an edge a piece in flow direction, keyed by drain and stations.

        An edge has `piece`, its row in `pieces`. A piece that is open both ways has an edge each way; one whose
        direction is not known has none.
        """
        graph = nx.MultiDiGraph()
        graph.add_nodes_from(np.unique(self.pieces.node_from[self.piece_system == system]).tolist())
        graph.add_nodes_from(np.unique(self.pieces.node_to[self.piece_system == system]).tolist())
        self._add_edges(graph, self._carrying(system))
        return graph

    def graph_below(self, system: int, node: int) -> nx.MultiDiGraph:
        """The part of `graph` that water from a node can come to."""
        members = self._carrying(system)
        up, down, both = self.node_up[members], self.node_down[members], self.open_both_ways[members]
        ends = np.concatenate([up, down[both]]), np.concatenate([down, up[both]])
        every, local = np.unique(np.concatenate([*ends, [node]]), return_inverse=True)
        one, other = local[:-1].reshape(2, -1)
        ways = csr_matrix((np.ones(len(one), dtype=np.int8), (one, other)), shape=(len(every), len(every)))
        reached = np.zeros(len(every), dtype=bool)
        reached[breadth_first_order(ways, local[-1], return_predecessors=False)] = True
        leaves = reached[one[: len(members)]]
        leaves[both] |= reached[one[len(members) :]]
        graph = nx.MultiDiGraph()
        graph.add_node(node)
        self._add_edges(graph, members[leaves])
        return graph

    def _carrying(self, system: int) -> np.ndarray:
        """Pieces of a system of which it is known which way water can run."""
        return np.flatnonzero((self.piece_system == system) & ((self.direction != 0) | self.open_both_ways))

    def _add_edges(self, graph: nx.MultiDiGraph, members: np.ndarray) -> None:
        up, down = self.node_up[members].tolist(), self.node_down[members].tolist()
        keys = self._keys(members)
        pieces = members.tolist()
        graph.add_edges_from((u, v, key, {"piece": p}) for u, v, key, p in zip(up, down, keys, pieces))
        both = np.flatnonzero(self.open_both_ways[members]).tolist()
        graph.add_edges_from((down[k], up[k], keys[k], {"piece": pieces[k]}) for k in both)

    def _keys(self, members: np.ndarray) -> list[tuple[str, float, float]]:
        line = self.pieces.line[members]
        ids = self.drains.drain_id[self.lines.drain[line]]
        begin = self.lines.station_m(line, self.pieces.from_m[members])
        end = self.lines.station_m(line, self.pieces.to_m[members])
        return list(zip(ids.tolist(), begin.tolist(), end.tolist()))
