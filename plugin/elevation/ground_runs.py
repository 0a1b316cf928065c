"""Fall of stretches of which only the ground and a depth are known."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from .evidence import Evidence
from .gls import fit_slopes
from .ground import GroundProfile
from .legs import ranks
from .ranges import Ranges

_SAMPLES_AT_ONCE = 250_000


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
    """Fit ground less depth over each range, many ranges at once.

    A range is split where the ground is missing over more than two sampling steps. A fitted stretch reaches
    to the ends of its range, or to the samples next to what is missing; with fewer than two samples there is none.
    """
    ground = evidence.ground
    first = np.ceil(ground.rank_at(ranges.line, ranges.from_m)).astype(np.int64)
    count = np.floor(ground.rank_at(ranges.line, ranges.to_m)).astype(np.int64) + 1 - first
    chunk = np.cumsum(count) // _SAMPLES_AT_ONCE
    edges = np.flatnonzero(np.diff(chunk)) + 1
    for low, high in zip([0, *edges.tolist()], [*edges.tolist(), len(ranges)]):
        part = slice(low, high)
        yield _fit(evidence, ranges.only(part), _samples_of(ground, ranges.line[part], first[part], count[part]))


def _samples_of(ground: GroundProfile, line: np.ndarray, first: np.ndarray, count: np.ndarray) -> _Samples:
    """Of the samples that lie in ranges, those with ground."""
    of, nth = np.repeat(np.arange(len(line)), count), ranks(count)
    line, rank = line[of], first[of] + nth
    z_m = ground.base_m[line] + ground.above_base_m[ground.first[line] + rank]
    samples = _Samples(of, ground.place_m(line, rank), z_m, nth == 0, nth == count[of] - 1)
    return samples.only(np.isfinite(z_m))


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
