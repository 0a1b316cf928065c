"""Where the water of every piece of pipe leaves the network."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..county import County

NO_OUTLET, NOT_KNOWN = -1, -2


@dataclass(frozen=True)
class Shares:
    """Parts of the water of pieces by outlet: `outlet` is a row of network.outlets, NO_OUTLET or NOT_KNOWN.

    Sorted by piece; the shares of a piece add up to 1.
    """

    piece: np.ndarray
    outlet: np.ndarray
    share: np.ndarray


@dataclass(frozen=True)
class Drained:
    """A county with the way of its water to its outlets."""

    county: County

    @cached_property
    def shares(self) -> Shares:
        return outlet_shares(self.county)

    @cached_property
    def outlet_key(self) -> np.ndarray:
        """What an outlet is called before and after a change: its structure, else the end of its drain."""
        net = self.county.network
        key = np.empty(len(net.outlets), dtype=object)
        marked = net.outlets.structure >= 0
        key[marked] = net.structures.structure_id[net.outlets.structure[marked]]
        key[~marked] = [f"end of {own}" for own in net.drains.drain_id[self._end_drain(net.outlets.node[~marked])]]
        return key

    @cached_property
    def outlet_name(self) -> np.ndarray:
        net = self.county.network
        name = np.empty(len(net.outlets), dtype=object)
        marked = net.outlets.structure >= 0
        name[marked] = net.structures.name[net.outlets.structure[marked]]
        name[~marked] = [f"end of {own}" for own in net.drains.name[self._end_drain(net.outlets.node[~marked])]]
        return name

    def _end_drain(self, node: np.ndarray) -> np.ndarray:
        net = self.county.network
        piece = np.concatenate([np.arange(len(net.pieces))] * 2)
        ends = np.concatenate([net.pieces.node_from, net.pieces.node_to])
        first = {int(n): int(p) for n, p in zip(ends[::-1], piece[::-1])}
        return net.piece_drain[np.array([first[int(n)] for n in node], dtype=np.int64)]

    def sums(self, value: np.ndarray) -> dict[int, float]:
        """A figure of every piece, summed by outlet."""
        total: dict[int, float] = {}
        amount = value[self.shares.piece] * self.shares.share
        for outlet in np.unique(self.shares.outlet):
            total[int(outlet)] = float(amount[self.shares.outlet == outlet].sum())
        return total


def outlet_shares(county: County) -> Shares:
    """Follow the water of all pieces down at once, from the outlets up."""
    net, down = county.network, county.down
    system = net.component[net.outlets.node]
    rank = _rank_within(system)
    width = int(rank.max(initial=0)) + 1
    of_system = np.full((int(net.component.max(initial=-1)) + 1, width), NO_OUTLET, dtype=np.int64)
    of_system[system, rank] = np.arange(len(system))
    part = np.zeros((down.pool_count, width))
    part[down.pool[net.outlets.node], rank] = 1.0
    for begin, end in zip(down.level_starts[-2::-1], down.level_starts[:0:-1]):
        rows = slice(begin, end)
        np.add.at(part, down.up[rows], down.share[rows, None] * part[down.down[rows]])
    reached = np.zeros((len(net.pieces), width))
    reached[down.piece] = part[down.down]
    reached[down.inner] = part[down.inner_pool]
    known = np.zeros(len(net.pieces), dtype=bool)
    known[down.piece] = known[down.inner] = True
    piece, place = np.nonzero(reached > 1e-12)
    outlet = of_system[net.component[net.pieces.node_from[piece]], place]
    share = reached[piece, place]
    rest = 1.0 - np.bincount(piece, weights=share, minlength=len(net.pieces))
    lacking = np.flatnonzero(rest > 1e-9)
    piece = np.concatenate([piece, lacking])
    no_outlet = known | ~net.has_outlet  # else the system has one, and nobody knows which way the water goes
    outlet = np.concatenate([outlet, np.where(no_outlet[lacking], NO_OUTLET, NOT_KNOWN)])
    share = np.concatenate([share, rest[lacking]])
    order = np.lexsort((outlet, piece))
    return Shares(piece[order], outlet[order], share[order])


def _rank_within(group: np.ndarray) -> np.ndarray:
    """Number of each member within its group, from 0."""
    order = np.argsort(group, kind="stable")
    new = np.flatnonzero(np.diff(group[order], prepend=-1))
    rank = np.empty(len(group), dtype=np.int64)
    rank[order] = np.arange(len(group)) - np.repeat(new, np.diff(np.append(new, len(group))))
    return rank
