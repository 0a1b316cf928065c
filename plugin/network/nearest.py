"""The place of a line that is nearest to a point, for many lines and points at once.

The same as shapely's distance and line_locate_point row by row, without making a shape of every point.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .lines import Lines

_SEGMENTS_AT_ONCE = 200_000  # what is worked on at once stays under about 30 MB


def nearest_places(lines: Lines, line: np.ndarray, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance along `line[k]` of its place nearest to `xy[k]` (the first of equals), and how far that is; metres."""
    at_m, away_m = np.empty(len(line)), np.empty(len(line))
    count = lines.first[line + 1] - lines.first[line] - 1
    for part in _parts(count):
        at_m[part], away_m[part] = _nearest(lines, line[part], count[part], xy[part])
    return at_m, away_m


def _parts(count: np.ndarray) -> Iterator[slice]:
    """Rows that have about so many segments together, a row at least."""
    bounds = np.flatnonzero(np.diff(np.cumsum(count) // _SEGMENTS_AT_ONCE, prepend=-1))
    for begin, end in zip(bounds, [*bounds[1:], len(count)]):
        yield slice(begin, end)


def _nearest(lines: Lines, line: np.ndarray, count: np.ndarray, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    begin = np.cumsum(count) - count
    segment = np.arange(count.sum()) + np.repeat(lines.first[line] - begin, count)
    x, y = lines.xy[:, 0], lines.xy[:, 1]
    from_x, from_y = x[segment], y[segment]
    along_x, along_y = x[segment + 1] - from_x, y[segment + 1] - from_y
    to_x, to_y = np.repeat(xy[:, 0], count) - from_x, np.repeat(xy[:, 1], count) - from_y
    share = np.clip((to_x * along_x + to_y * along_y) / (along_x * along_x + along_y * along_y), 0.0, 1.0)
    away2 = (to_x - share * along_x) ** 2 + (to_y - share * along_y) ** 2
    least = np.minimum.reduceat(away2, begin)
    equal = np.flatnonzero(away2 == np.repeat(least, count))
    best = equal[np.searchsorted(equal, begin)]
    low, high = lines.along_m[segment[best]], lines.along_m[segment[best] + 1]
    return low + share[best] * (high - low), np.sqrt(least)
