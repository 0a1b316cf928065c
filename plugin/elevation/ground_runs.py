"""Fall of stretches of which only the ground and a depth are known."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from .along import first_of_line, running_m
from .evidence import Evidence
from .gls import fit_slopes
from .ranges import Ranges

_SAMPLES_AT_ONCE = 1_000_000


@dataclass(frozen=True)
class Fitted(Ranges):
    """Stretches with the fall of the fitted line in drawn direction and its standard error."""

    fall_m: np.ndarray
    sigma_m: np.ndarray


@dataclass(frozen=True)
class _Samples:
    """Ground samples within ranges: which range, place on the line, height, whether the first or last of the range."""

    of: np.ndarray
    at_m: np.ndarray
    z_m: np.ndarray
    is_first: np.ndarray
    is_last: np.ndarray

    def only(self, which: np.ndarray) -> _Samples:
        return _Samples(*(getattr(self, column.name)[which] for column in fields(self)))


def fit_ranges(evidence: Evidence, ranges: Ranges) -> Iterator[Fitted]:
    """Fit ground less depth over each range, some million samples at once.

    A range is split where the ground is missing over more than two sampling steps. A fitted stretch reaches
    to the ends of its range, or to the samples next to what is missing; with fewer than two samples there is none.
    """
    ground, lines = evidence.ground, len(evidence.lines)
    first_range = first_of_line(ranges.line, lines)
    low = 0
    while low < lines:
        high = int(np.searchsorted(ground.first, ground.first[low] + _SAMPLES_AT_ONCE, side="right")) - 1
        high = min(max(high, low + 1), lines)
        part = ranges.only(slice(first_range[low], first_range[high]))
        if len(part):
            yield _fit(evidence, part, _samples_of(evidence, part, low, high))
        low = high


def _samples_of(evidence: Evidence, ranges: Ranges, low: int, high: int) -> _Samples:
    """Samples with ground of the lines `low` to `high` that lie in ranges."""
    lines, ground = evidence.lines, evidence.ground
    chunk = slice(ground.first[low], ground.first[high])
    at_m, z_m = ground.at_m[chunk], ground.z_m[chunk]
    place = running_m(lines, ground.line_of(low, high), at_m)
    begin, end = running_m(lines, ranges.line, ranges.from_m), running_m(lines, ranges.line, ranges.to_m)
    of = np.maximum(np.searchsorted(begin, place, side="right") - 1, 0)
    inside = (place >= begin[of]) & (place <= end[of])
    of = of[inside]
    changes = of[1:] != of[:-1]
    is_first, is_last = np.concatenate([[True], changes])[: len(of)], np.concatenate([changes, [True]])[-len(of) :]
    samples = _Samples(of, at_m[inside], z_m[inside], is_first, is_last)
    return samples.only(np.isfinite(samples.z_m))


def _fit(evidence: Evidence, ranges: Ranges, samples: _Samples) -> Fitted:
    samples, first, last = _runs(samples, evidence.ground.step_m)
    of = samples.of[first]
    line = ranges.line[of]
    from_m = np.where(samples.is_first[first], ranges.from_m[of], samples.at_m[first])
    to_m = np.where(samples.is_last[last], ranges.to_m[of], samples.at_m[last])
    if not len(first):
        return Fitted(line, from_m, to_m, np.zeros(0), np.zeros(0))
    y_m = samples.z_m - evidence.depth_m(ranges.line[samples.of], samples.at_m)
    slope, error = fit_slopes(samples.at_m, y_m, first, evidence.limits["ground_correlation_length"])
    sigma_m = error * evidence.below_ground_sigma_m[evidence.lines.drain[line]]
    return Fitted(line, from_m, to_m, -slope * (to_m - from_m), sigma_m * (to_m - from_m))


def _runs(samples: _Samples, step_m: float) -> tuple[_Samples, np.ndarray, np.ndarray]:
    """The samples in runs of at least two, with the index of the first and last sample of each run."""
    begins = np.ones(len(samples.of), dtype=bool)
    begins[1:] = (samples.of[1:] != samples.of[:-1]) | (np.diff(samples.at_m) > 2.0 * step_m + 1e-6)
    run = np.cumsum(begins) - 1
    enough = np.bincount(run)[run] >= 2
    first = np.flatnonzero(begins[enough])
    samples = samples.only(enough)
    return samples, first, np.append(first[1:], len(samples.of))[: len(first)] - 1
