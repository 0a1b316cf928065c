"""Straight segments of lines, and where two of them meet."""

from __future__ import annotations

import numpy as np

from .lines import Lines


def segment_pairs(
    lines: Lines, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray,
    other: np.ndarray, other_from_m: np.ndarray, other_to_m: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Row, segment and other segment: every segment on a stretch of a line with every one on a stretch of another.

    A segment is named by the vertex it begins with.
    """
    first, count = _segments(lines, line, from_m, to_m)
    other_first, other_count = _segments(lines, other, other_from_m, other_to_m)
    pairs = count * other_count
    row = np.repeat(np.arange(len(line)), pairs)
    number = np.arange(len(row)) - np.repeat(np.cumsum(pairs) - pairs, pairs)
    return row, first[row] + number // other_count[row], other_first[row] + number % other_count[row]


def _segments(lines: Lines, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    low, high = (lines.segment_at(line, np.clip(at_m, 0.0, lines.length_m[line])) for at_m in (from_m, to_m))
    return low, high - low + 1


def crossing_places(lines: Lines, segment: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of pairs of segments that cross or touch at one place, and the places; segments side by side have none."""
    begin, way = lines.xy[segment], lines.xy[segment + 1] - lines.xy[segment]
    other_begin, other_way = lines.xy[other], lines.xy[other + 1] - lines.xy[other]
    apart = other_begin - begin
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = _cross(way, other_way)
        share, other_share = _cross(apart, other_way) / turn, _cross(apart, way) / turn
    meet = np.flatnonzero((share >= 0.0) & (share <= 1.0) & (other_share >= 0.0) & (other_share <= 1.0))
    return meet, begin[meet] + share[meet, None] * way[meet]


def _cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
