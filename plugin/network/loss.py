"""What is lost when a piece of pipe is plugged: all that has no other way to an outlet.

Where water never has a choice that is all from above, one pass down the network. In a system with a split or a
ring open both ways it is what the piece dominates: seen from the outlets, every way up to it leads through the piece.
"""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np

from .flow import Downward
from .network import Network

_ROOT = "outlets"


@dataclass(frozen=True)
class Lost:
    """Sums of what a plug in each piece cuts off, for any figure of the pieces.

    `branching`: pieces of systems in which water can go several ways, in the order of a walk down their dominator
    trees; what a piece cuts off is itself and the next `below` pieces of that walk. `unknown`: pieces of which nobody
    knows where their water goes.
    """

    down: Downward
    branching: np.ndarray
    below: np.ndarray
    unknown: np.ndarray

    def lost(self, own: np.ndarray) -> np.ndarray:
        """For every piece its own figure and that of all pieces that lose their last way out; NaN where unknown."""
        total = self.down.sum_down(own)
        running = np.concatenate([[0.0], np.cumsum(own[self.branching])])
        place = np.arange(len(self.branching))
        total[self.branching] = running[place + self.below + 1] - running[place]
        total[self.unknown] = np.nan
        return total


def find_losses(net: Network, down: Downward) -> Lost:
    """Prepare the sums; `down`: the pieces of the network from the top down.

    A plug stands at the lower end of its piece, so that the piece's own land is lost as well. A system without an
    outlet is taken to lose its water where its pipes end below.
    """
    is_outlet = np.zeros(len(net.nodes), dtype=bool)
    is_outlet[net.outlets.node] = True
    ends = is_outlet | ~np.isin(down.pool, down.up)
    choice = (np.bincount(net.node_up[net.direction != 0], minlength=len(net.nodes)) > 1) & ~is_outlet
    several = np.zeros(net.component.max() + 1 if len(net.component) else 0, dtype=bool)
    several[net.component[choice]] = True
    several[net.component[net.pieces.node_from[net.open_both_ways]]] = True
    system = net.component[net.pieces.node_from]
    pieces = np.flatnonzero(several[system] & ((net.direction != 0) | net.open_both_ways))
    order = pieces[np.argsort(system[pieces], kind="stable")]
    cuts = np.flatnonzero(np.diff(system[order])) + 1
    walks = [_walk(net, members, ends) for members in np.split(order, cuts) if len(members)]
    branching, below = (np.array([row for walk in walks for row in walk[side]], dtype=np.int64) for side in (0, 1))
    unknown = (net.direction == 0) & ~net.open_both_ways
    unknown[pieces] = True  # what no outlet or lower end is reached from
    unknown[branching] = False
    return Lost(down, branching, below, unknown)


def _walk(net: Network, members: np.ndarray, ends: np.ndarray) -> tuple[list[int], list[int]]:
    """The pieces of one system in the order of a walk down its dominator tree, and how many hang on each."""
    graph = nx.DiGraph()
    graph.add_node(_ROOT)
    up, low = net.node_up[members].tolist(), net.node_down[members].tolist()
    both = net.open_both_ways[members].tolist()
    for piece, a, b, open_ in zip(members.tolist(), up, low, both):
        # a piece is a vertex of its own: taking it away shuts the pipe in both directions
        graph.add_edges_from(((("node", b), piece), (piece, ("node", a))))
        if open_:
            graph.add_edges_from(((("node", a), piece), (piece, ("node", b))))
    touched = np.unique([*up, *low])
    graph.add_edges_from((_ROOT, ("node", node)) for node in touched[ends[touched]].tolist())
    above = nx.immediate_dominators(graph, _ROOT)
    tree = nx.DiGraph((parent, vertex) for vertex, parent in above.items() if vertex != _ROOT)
    return _pieces_of(tree) if len(tree) else ([], [])


def _pieces_of(tree: nx.DiGraph) -> tuple[list[int], list[int]]:
    """Of the vertices of a tree the pieces, each before all that hangs on it, and how many pieces that is."""
    size: dict[object, int] = {}
    for vertex in nx.dfs_postorder_nodes(tree, _ROOT):
        size[vertex] = sum(size[child] + (type(child) is int) for child in tree[vertex])
    pieces = [vertex for vertex in nx.dfs_preorder_nodes(tree, _ROOT) if type(vertex) is int]
    return pieces, [size[piece] for piece in pieces]
