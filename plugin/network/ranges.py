"""Stretches of line: where they overlap, and neighbours that become one."""

from __future__ import annotations

import numpy as np

from .lines import Lines


def overlaps(
    lines: Lines,
    line_a: np.ndarray,
    from_a: np.ndarray,
    to_a: np.ndarray,
    line_b: np.ndarray,
    from_b: np.ndarray,
    to_b: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Rows of a, rows of b, and from, to of what they share, in metres along the line.

    The stretches of b must be sorted by line and place and must not overlap one another.
    """
    start = np.concatenate([[0.0], np.cumsum(lines.length_m + 1.0)])  # all lines one after another, 1 m apart
    a0, a1 = start[line_a] + from_a, start[line_a] + to_a
    b0, b1 = start[line_b] + from_b, start[line_b] + to_b
    first, last = np.searchsorted(b1, a0, side="right"), np.searchsorted(b0, a1, side="left")
    counts = np.maximum(last - first, 0)
    row_a = np.repeat(np.arange(len(line_a)), counts)
    row_b = np.repeat(first, counts) + np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
    low = np.maximum(from_a[row_a], from_b[row_b])
    high = np.minimum(to_a[row_a], to_b[row_b])
    return row_a, row_b, low, high


def merge_neighbours(
    line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, kind: np.ndarray, touch_m: float = 1e-6
) -> tuple[np.ndarray, np.ndarray]:
    """Order of the stretches by line, kind and place, and the group of each in that order.

    Stretches of one group follow one another on one line and are of one kind.
    """
    order = np.lexsort((from_m, kind, line))
    line, from_m, to_m, kind = line[order], from_m[order], to_m[order], kind[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (line[1:] != line[:-1]) | (kind[1:] != kind[:-1]) | (from_m[1:] > to_m[:-1] + touch_m)
    return order, np.cumsum(new) - 1


def first_of_groups(group: np.ndarray) -> np.ndarray:
    """Index of the first member of each group of an ascending group array (as np.ufunc.reduceat wants it)."""
    first = np.ones(len(group), dtype=bool)
    first[1:] = group[1:] != group[:-1]
    return np.flatnonzero(first)
