"""What runs through every piece: sums taken down the network in one pass.

The network of directed pieces is condensed (pieces open both ways make one pool), sorted once from the
top down, and kept as arrays, so that any figure of the pieces can be summed, and any level carried
up, without building a graph object for a county.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components


@dataclass(frozen=True)
class Downward:
    """Directed pieces from the top down.

    `piece`, `up`, `down`: pieces with their upper and lower pool, sorted so that everything that runs into
    a pool comes before what leaves it; `share`: part of the water of the upper pool that the piece takes;
    `level_starts`: bounds of groups that do not depend on each other; `pool`: pool of every node;
    `inner`: pieces open both ways, each inside the pool `inner_pool`.
    """

    piece: np.ndarray
    up: np.ndarray
    down: np.ndarray
    share: np.ndarray
    level_starts: np.ndarray
    pool: np.ndarray
    pool_count: int
    inner: np.ndarray
    inner_pool: np.ndarray

    def sum_down(self, own: np.ndarray) -> np.ndarray:
        """For every piece: its own figure and all that comes through it from above.

        At a split the sum is shared, so the totals over all outlets equal the total put in. A piece that is
        open both ways has all of its pool. Pieces without a direction outside any pool keep their own.
        """
        total = np.array(own, dtype=float)
        in_pool = np.zeros(self.pool_count)
        np.add.at(in_pool, self.inner_pool, total[self.inner])
        for begin, end in zip(self.level_starts[:-1], self.level_starts[1:]):
            piece = self.piece[begin:end]
            total[piece] += self.share[begin:end] * in_pool[self.up[begin:end]]
            np.add.at(in_pool, self.down[begin:end], total[piece])
        total[self.inner] = in_pool[self.inner_pool]
        return total

    def in_pools(self, total: np.ndarray, own: np.ndarray) -> np.ndarray:
        """What arrives in every pool, given `total = sum_down(own)`."""
        arrived = np.zeros(self.pool_count)
        np.add.at(arrived, self.inner_pool, own[self.inner])
        np.add.at(arrived, self.down, total[self.piece])
        return arrived


def sort_down(
    node_from: np.ndarray, node_to: np.ndarray, direction: np.ndarray, open_both_ways: np.ndarray, node_count: int,
    weight: np.ndarray, outlet_node: np.ndarray,
) -> Downward:
    """Sort directed pieces from the top down.

    `weight`: how well a piece carries water, compared with others that leave the same pool (NaN: not known;
    then all that leave it share equally). Water that reaches an outlet leaves there: pipe that leads on takes none.
    """
    pool_count, pool = _pools(node_from, node_to, direction, open_both_ways, node_count)
    up_node = np.where(direction >= 0, node_from, node_to)
    down_node = np.where(direction >= 0, node_to, node_from)
    directed = np.flatnonzero(direction != 0)
    up, down = pool[up_node[directed]], pool[down_node[directed]]
    between = up != down
    inner = np.concatenate([directed[~between], np.flatnonzero(open_both_ways)])
    piece, up, down = directed[between], up[between], down[between]
    share = np.where(np.isin(up, pool[outlet_node]), 0.0, _shares(up, weight[piece], pool_count))
    order, starts = _levels(up, down, pool_count)
    return Downward(
        piece[order], up[order], down[order], share[order], starts, pool, pool_count, inner, pool[node_from[inner]]
    )


def _pools(
    node_from: np.ndarray, node_to: np.ndarray, direction: np.ndarray, open_both_ways: np.ndarray, node_count: int
) -> tuple[int, np.ndarray]:
    """Nodes among which water can go round; nearly all are pools of one node."""
    if not open_both_ways.any():  # directions alone never go round in circles
        return node_count, np.arange(node_count)
    a, b = node_from[open_both_ways], node_to[open_both_ways]
    graph = csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(node_count, node_count))
    count, pool = connected_components(graph, directed=False)
    return int(count), pool.astype(np.int64)


def _shares(up: np.ndarray, weight: np.ndarray, pool_count: int) -> np.ndarray:
    leaving = np.bincount(up, minlength=pool_count)
    known = np.isfinite(weight) & (weight > 0)
    known_leaving = np.bincount(up, weights=known.astype(float), minlength=pool_count)
    by_weight = (known_leaving == leaving)[up]
    weight = np.where(by_weight, np.where(known, weight, 1.0), 1.0)
    return weight / np.bincount(up, weights=weight, minlength=pool_count)[up]


def _levels(up: np.ndarray, down: np.ndarray, pool_count: int) -> tuple[np.ndarray, np.ndarray]:
    """Order of the pieces from the top down, and where each group of independent pieces begins."""
    by_up = np.argsort(up, kind="stable")
    first = np.concatenate([[0], np.cumsum(np.bincount(up, minlength=pool_count))])
    waiting = np.bincount(down, minlength=pool_count)
    front = np.flatnonzero(waiting == 0)
    order, starts = [], [0]
    while len(front):
        counts = first[front + 1] - first[front]
        rank = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        rows = by_up[np.repeat(first[front], counts) + rank]
        if not len(rows):
            break
        order.append(rows)
        starts.append(starts[-1] + len(rows))
        reached, times = np.unique(down[rows], return_counts=True)
        waiting[reached] -= times
        front = reached[waiting[reached] == 0]
    return np.concatenate(order) if order else np.zeros(0, dtype=np.int64), np.array(starts)
