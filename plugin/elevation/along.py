"""Looking up values along many lines at once: nodes in flat arrays, sorted by line and place."""

from __future__ import annotations

import numpy as np

from ..network.lines import Lines


def first_of_line(line: np.ndarray, lines: int) -> np.ndarray:
    """For rows sorted by line: where the rows of each line begin (`lines` + 1 entries)."""
    return np.searchsorted(line, np.arange(lines + 1))


def running_m(lines: Lines, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    """One distance over all lines laid one after another, 1 m apart, so that one sorted search serves all."""
    start = np.cumsum(lines.length_m + 1.0) - (lines.length_m + 1.0)
    return start[line] + at_m


def interpolate(
    lines: Lines, node_line: np.ndarray, node_at_m: np.ndarray, values: np.ndarray, line: np.ndarray, at_m: np.ndarray
) -> np.ndarray:
    """Values at places, straight between the nodes of the same line; NaN outside them or beside a NaN.

    `values` is (nodes,) or (nodes, columns). At a node its own value counts, whatever its neighbours are.
    """
    values = np.asarray(values, dtype=float)
    line, at_m = np.asarray(line, dtype=np.int64), np.asarray(at_m, dtype=float)
    found = np.full((len(line), *values.shape[1:]), np.nan)
    if not len(node_line) or not len(line):
        return found
    nodes = running_m(lines, node_line, node_at_m)
    place = running_m(lines, line, at_m)
    low = np.searchsorted(nodes, place, side="right") - 1
    high = np.minimum(low + 1, len(nodes) - 1)
    on_line = (low >= 0) & (node_line[low] == line)
    exact = on_line & (nodes[low] == place)
    between = on_line & ~exact & (node_line[high] == line) & (high > low)
    found[exact] = values[low[exact]]
    a, b = low[between], high[between]
    share = (place[between] - nodes[a]) / (nodes[b] - nodes[a])
    share = share.reshape((-1,) + (1,) * (values.ndim - 1))
    found[between] = values[a] + share * (values[b] - values[a])
    return found
