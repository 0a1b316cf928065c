"""Heights along lines as inverts at the ends and level shots between, no more of them than the error asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .thin import keep_in_profile

INVERT, PIPE_TOP, GROUND, NOTHING = "invert", "pipe_top", "ground", "none"


@dataclass(frozen=True)
class Levels:
    """`start` and `end` by line, NaN where that end has no height; shots as line, vertex and elevation."""

    start: np.ndarray
    end: np.ndarray
    shot_line: np.ndarray
    shot_vertex: np.ndarray
    shot_z: np.ndarray


def levels_along(along: np.ndarray, z: np.ndarray, first: np.ndarray, of: str, error: float) -> Levels:
    """Inverts at the ends (heights of "invert" only) and shots, of which none left out is off by more than `error`.

    Vertices of line i are `[first[i]:first[i + 1]]`, two at least, at distances `along` it; `z` is NaN where unknown.
    Heights of the top of the pipe or of the ground become shots at the ends too.
    """
    count, line = len(first) - 1, np.repeat(np.arange(len(first) - 1), np.diff(first))
    if of == NOTHING or not count:
        none, unknown = np.zeros(0, dtype=np.int64), np.full(count, np.nan)
        return Levels(unknown, unknown, none, none, np.zeros(0))
    vertex = np.flatnonzero(np.isfinite(z))
    bounds = np.searchsorted(line[vertex], np.arange(count + 1))
    kept = vertex[keep_in_profile(along[vertex], z[vertex], bounds, error)]
    start, end = np.full(count, np.nan), np.full(count, np.nan)
    if of == INVERT:
        start, end = z[first[:-1]], z[first[1:] - 1]
        kept = kept[~np.isin(kept, first[:-1]) & ~np.isin(kept, first[1:] - 1)]
    return Levels(start, end, line[kept], kept, z[kept])


def profile_words(along: np.ndarray, depth: np.ndarray, error: float, unit: str) -> str:
    """Depths along one line for a note: '0 2.9, 120 3.1 ft'; nothing left out is off by more than `error`."""
    known = np.flatnonzero(np.isfinite(depth))
    if not len(known):
        return ""
    kept = known[keep_in_profile(along[known], depth[known], np.array([0, len(known)]), error)]
    pairs = ", ".join(f"{along[place]:.1f}: {depth[place]:.2f}" for place in kept)
    return f"Depths by distance from the first point ({unit}): {pairs}."
