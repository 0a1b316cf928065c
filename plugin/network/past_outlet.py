"""Pipe drawn on through an outlet: the outlet is a node, the part beyond carries nothing and is a finding."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .levels import Levels
from .pieces import Pieces


@dataclass(frozen=True)
class PastOutlet:
    """Stretches of lines beyond an outlet, with the outlet's node."""

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    node: np.ndarray


def find_past_outlet(
    pieces: Pieces, outlet_node: np.ndarray, levels: Levels, node_count: int
) -> tuple[Pieces, PastOutlet]:
    """Take out the bare piece beyond each outlet.

    Where pipe leads from the outlet both ways, the part beyond is the one with nothing joined to it; of two bare
    parts the lower one, without levels the shorter.
    """
    ends = np.concatenate([pieces.node_from, pieces.node_to])
    degree = np.bincount(ends, minlength=node_count)
    is_outlet = np.zeros(node_count, dtype=bool)
    is_outlet[outlet_node] = True
    open_end = (degree == 1) & ~is_outlet  # pipe that leads to another outlet is not beyond this one
    beyond = []
    for node in outlet_node[degree[outlet_node] >= 2]:
        rows = np.flatnonzero((pieces.node_from == node) | (pieces.node_to == node))
        line, count = np.unique(pieces.line[rows], return_counts=True)
        for through in line[count == 2]:
            beyond += _part_beyond(pieces, rows[pieces.line[rows] == through], node, open_end, levels)
    gone = np.array(sorted(beyond), dtype=np.int64)
    keep = np.ones(len(pieces), dtype=bool)
    keep[gone] = False
    at_node = np.where(np.isin(pieces.node_from[gone], outlet_node), pieces.node_from[gone], pieces.node_to[gone])
    return pieces.where(keep), PastOutlet(pieces.line[gone], pieces.from_m[gone], pieces.to_m[gone], at_node)


def _part_beyond(pieces: Pieces, rows: np.ndarray, node: int, open_end: np.ndarray, levels: Levels) -> list[int]:
    far = np.where(pieces.node_from[rows] == node, pieces.node_to[rows], pieces.node_from[rows])
    bare = open_end[far]
    far_at = np.where(pieces.node_from[rows] == node, pieces.to_m[rows], pieces.from_m[rows])
    level = levels.level_at(pieces.line[rows], far_at)
    here = levels.level_at(pieces.line[rows[:1]], np.where(pieces.node_from[rows[:1]] == node, pieces.from_m[rows[:1]],
                                                           pieces.to_m[rows[:1]]))[0]
    if bare.all():
        known = np.isfinite(level).all() and level[0] != level[1]
        return [int(rows[np.argmin(level)] if known else rows[np.argmin(pieces.length_m[rows])])]
    if bare.any() and not level[bare][0] > here:  # a bare part that lies higher is pipe above the outlet
        return [int(rows[bare][0])]
    return []
