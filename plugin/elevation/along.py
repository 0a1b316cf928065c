"""Looking up values along many lines at once: nodes in flat arrays, sorted by line and place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..network.lines import Lines


def first_of_line(line: np.ndarray, lines: int) -> np.ndarray:
    """For rows sorted by line: where the rows of each line begin (`lines` + 1 entries)."""
    return np.searchsorted(line, np.arange(lines + 1))


def running_m(lines: Lines, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    """One distance over all lines laid one after another, 1 m apart, so that one sorted search serves all."""
    start = np.cumsum(lines.length_m + 1.0) - (lines.length_m + 1.0)
    return start[line] + at_m


@dataclass(frozen=True)
class Between:
    """Between which nodes places lie: node before, node after, share of the way; a place on a node has it twice.

    Where `inside` is false there is none on one side of the place.
    """

    low: np.ndarray
    high: np.ndarray
    share: np.ndarray
    inside: np.ndarray

    def straight(self, values: np.ndarray) -> np.ndarray:
        """Values straight between the nodes; NaN outside them and beside a NaN, but not on a node with a value."""
        found = np.full(len(self.low), np.nan)
        low, high, share = self.low[self.inside], self.high[self.inside], self.share[self.inside]
        found[self.inside] = values[low] + share * (values[high] - values[low])
        return found


def between(lines: Lines, node_line: np.ndarray, node_at_m: np.ndarray, line: np.ndarray, at_m: np.ndarray) -> Between:
    """Find the nodes of the same line on either side of each place; nodes are sorted by line and place."""
    line = np.asarray(line, dtype=np.int64)
    if not len(node_line):
        none = np.full(len(line), -1)
        return Between(none, none, np.zeros(len(line)), np.zeros(len(line), dtype=bool))
    nodes, place = running_m(lines, node_line, node_at_m), running_m(lines, line, at_m)
    low = np.searchsorted(nodes, place, side="right") - 1
    low_on_line = (low >= 0) & (node_line[low] == line)
    on_node = low_on_line & (nodes[low] == place)
    high = np.where(on_node, low, np.minimum(low + 1, len(nodes) - 1))
    inside = low_on_line & (node_line[high] == line) & (on_node | (high > low))
    gap_m = np.where(inside & ~on_node, nodes[high] - nodes[low], 1.0)
    share = np.where(inside & ~on_node, (place - nodes[low]) / gap_m, 0.0)
    return Between(low, high, share, inside)
