"""Fewer points within an error: Douglas and Peucker's way, for all lines at once.

D. Douglas, T. Peucker: Algorithms for the reduction of the number of points required to represent a digitized line or
its caricature, The Canadian Cartographer 10 (1973), 112-122 (from memory). A point that is left out lies no farther
than the error from the chord between the kept points before and after it; both ends are always kept.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

# distance of points from the chords between two others: (points, chord starts, chord ends), all as indices
Distance = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


def keep_in_plan(xy: np.ndarray, first: np.ndarray, error: float) -> np.ndarray:
    """Which vertices of lines to keep so that none left out lies farther than `error` beside its chord.

    Vertices of line i are `xy[first[i]:first[i + 1]]`.
    """

    def beside(point: np.ndarray, start: np.ndarray, stop: np.ndarray) -> np.ndarray:
        chord, off = xy[stop] - xy[start], xy[point] - xy[start]
        share = _share((off * chord).sum(axis=1), (chord * chord).sum(axis=1))
        return np.hypot(*(off - share[:, None] * chord).T)

    return _keep(len(xy), first, error, beside)


def keep_in_profile(at: np.ndarray, z: np.ndarray, first: np.ndarray, error: float) -> np.ndarray:
    """Which levels of profiles to keep so that none left out is more than `error` above or below its chord.

    `at` are distances along each line, not falling; `z` has no NaN.
    """

    def above(point: np.ndarray, start: np.ndarray, stop: np.ndarray) -> np.ndarray:
        share = _share(at[point] - at[start], at[stop] - at[start])
        return np.abs(z[point] - (z[start] + share * (z[stop] - z[start])))

    return _keep(len(z), first, error, above)


def _share(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    return np.clip(np.divide(part, whole, out=np.zeros(len(part)), where=whole > 0), 0.0, 1.0)


def _keep(count: int, first: np.ndarray, error: float, distance: Distance) -> np.ndarray:
    """Split every chord at its farthest point while that is beyond the error, all chords in one sweep."""
    kept = np.zeros(count, dtype=bool)
    first = np.asarray(first, dtype=np.int64)
    filled = np.flatnonzero(np.diff(first) > 0)
    kept[first[filled]] = kept[first[filled + 1] - 1] = True
    start, stop = first[filled], first[filled + 1] - 1
    while True:
        inner = stop - start - 1
        start, stop, inner = (column[inner > 0] for column in (start, stop, inner))
        if not len(start):
            return kept
        chord = np.repeat(np.arange(len(start)), inner)
        begin = np.cumsum(inner) - inner
        point = np.arange(inner.sum()) - np.repeat(begin - start - 1, inner)
        off = distance(point, start[chord], stop[chord])
        farthest = np.maximum.reduceat(off, begin)
        beyond = farthest > error
        at_farthest = np.flatnonzero(off == farthest[chord])
        # the middle one where many points are equally far: chords halve instead of losing one point a sweep
        low, high = np.searchsorted(chord[at_farthest], np.arange(len(start))), np.searchsorted(
            chord[at_farthest], np.arange(len(start)), side="right"
        )
        split = point[at_farthest[(low + high - 1) // 2]]
        kept[split[beyond]] = True
        start, stop, split = start[beyond], stop[beyond], split[beyond]
        start, stop = np.concatenate([start, split]), np.concatenate([split, stop])
