"""Lines that are drawn twice.

A line is a duplicate when another line runs within the tolerance beside it for more than half its
length. Meeting another line, crossing it or going on from its end is not running beside it, so the
stretch must also get on along the other line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .lines import Lines
from .near import NearPairs
from .nearest import nearest_places

_QUARTERS = np.array([0.25, 0.5, 0.75])  # a line with more than half its length covered has one of these covered
_SAMPLES = 41
_LEAST_ADVANCE = 0.7  # share of its own way that a stretch beside another line must get on along that line


@dataclass(frozen=True)
class Duplicates:
    """Line `line` lies on line `of` for `share` of its length and carries nothing."""

    line: np.ndarray
    of: np.ndarray
    share: np.ndarray


def find_duplicates(lines: Lines, pairs: NearPairs, tolerance_m: float) -> Duplicates:
    """The lines that carry nothing because another line stands for them; of two alike the first drawn stays."""
    line, other = _candidates(lines, pairs, tolerance_m)
    share = _share_beside(lines, line, other, tolerance_m)
    line, other, share = line[share > 0.5], other[share > 0.5], share[share > 0.5]
    # where each lies on the other the first drawn stays; else the one that is covered goes
    both = np.isin(line * len(lines) + other, other * len(lines) + line)
    goes = ~both | (line > other)
    line, other, share = line[goes], other[goes], share[goes]
    order = np.lexsort((other, -share, line))
    line, other, share = line[order], other[order], share[order]
    first = np.ones(len(line), dtype=bool)
    first[1:] = line[1:] != line[:-1]
    return Duplicates(line[first], other[first], share[first])


def _candidates(lines: Lines, pairs: NearPairs, tolerance_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Pairs in which a quarter point of the line lies on the other; asked of the few whose boxes allow it."""
    pairs = pairs.where(_half_in_box(lines, pairs, tolerance_m))
    at = (lines.length_m[pairs.line][:, None] * _QUARTERS).ravel()
    quarters = lines.points_at(np.repeat(pairs.line, len(_QUARTERS)), at)
    _, apart = nearest_places(lines, np.repeat(pairs.other, len(_QUARTERS)), quarters)
    on_other = (apart <= tolerance_m + 1e-9).reshape(-1, len(_QUARTERS)).any(axis=1)
    return pairs.line[on_other], pairs.other[on_other]


def _half_in_box(lines: Lines, pairs: NearPairs, tolerance_m: float) -> np.ndarray:
    """Whether half of a line can lie in the other's box; of a line with bends nobody can say without looking."""
    bounds = shapely.bounds(lines.geometry).reshape(-1, 4).T
    straight, within = np.zeros(len(pairs.line)), np.ones(len(pairs.line), dtype=bool)
    for low, high in ((bounds[0], bounds[2]), (bounds[1], bounds[3])):
        own_low, own_high = low[pairs.line], high[pairs.line]
        size = own_high - own_low
        shared = np.minimum(own_high, high[pairs.other] + tolerance_m) - np.maximum(
            own_low, low[pairs.other] - tolerance_m
        )
        straight += size * size
        within &= shared >= 0.49 * size
    return within | (lines.length_m[pairs.line] > 1.001 * np.sqrt(straight))


def _share_beside(lines: Lines, line: np.ndarray, other: np.ndarray, tolerance_m: float) -> np.ndarray:
    """Share of each line's length that runs beside the other line."""
    if not len(line):
        return np.zeros(0)
    share = np.linspace(0.0, 1.0, _SAMPLES)
    at = (lines.length_m[line][:, None] * share).ravel()
    samples = lines.points_at(np.repeat(line, _SAMPLES), at)
    place, away = (a.reshape(-1, _SAMPLES) for a in nearest_places(lines, np.repeat(other, _SAMPLES), samples))
    near = away <= tolerance_m + 1e-9
    step = lines.length_m[line][:, None] / (_SAMPLES - 1)
    beside = near[:, 1:] & near[:, :-1] & (np.abs(np.diff(place, axis=1)) >= _LEAST_ADVANCE * step)
    return beside.mean(axis=1)
