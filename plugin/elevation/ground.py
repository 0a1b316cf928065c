"""Ground heights along pipes, from whatever can tell the ground at points."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from ..network.lines import Lines
from .along import between

GroundSampler = Callable[..., np.ndarray]
"""sampler(x_m, y_m) -> z_m, NaN where the ground is missing; called with progress= where sample_lines was."""

Progress = Callable[[float], None]
"""Called with the share done, 0 to 1."""

_SAMPLES_AT_ONCE = 4_000_000  # 64 MB of coordinates; lines are taken from north to south to fit rows of rasters
_POINTS_AT_ONCE = 250_000


class SamplingCanceledError(Exception):
    """The user stopped the sampling; there is no result."""


@dataclass(frozen=True)
class GroundProfile:
    """Ground at stations of lines; those of line i are first[i]:first[i + 1], none where it was not sampled.

    Each sampled line has a station at both ends and others evenly between, at most `step_m` apart. `z_m`
    is NaN where the ground is missing.
    """

    first: np.ndarray
    at_m: np.ndarray
    z_m: np.ndarray
    step_m: float

    def __len__(self) -> int:
        return len(self.at_m)

    def line_of(self, low: int, high: int) -> np.ndarray:
        """Line of each sample of the lines `low` to `high` (not included)."""
        return np.repeat(np.arange(low, high), np.diff(self.first[low : high + 1]))

    def at(
        self, lines: Lines, line: np.ndarray, at_m: np.ndarray, low: int = 0, high: int | None = None
    ) -> np.ndarray:
        """Ground at places of the lines `low` to `high`, straight between samples; NaN beside a missing one."""
        high = len(lines) if high is None else high
        sample = slice(self.first[low], self.first[high])
        return between(lines, self.line_of(low, high), self.at_m[sample], line, at_m).straight(self.z_m[sample])

    @property
    def missing_count(self) -> int:
        """Number of samples without ground."""
        return int(np.isnan(self.z_m).sum())


def sample_lines(
    lines: Lines, sampler: GroundSampler, step_m: float, active: np.ndarray, progress: Progress | None = None
) -> GroundProfile:
    """Ground along the lines that are `active` (a mask), in bulk."""
    intervals = np.where(active, np.maximum(np.ceil(lines.length_m / step_m - 1e-9), 1.0), 0.0).astype(np.int64)
    counts = np.where(active, intervals + 1, 0)
    first = np.concatenate([[0], np.cumsum(counts)])
    at_m, z_m = np.empty(first[-1]), np.empty(first[-1])
    done = 0
    for chunk in _chunks_from_north(lines, counts):
        rank = np.arange(counts[chunk].sum()) - np.repeat(np.cumsum(counts[chunk]) - counts[chunk], counts[chunk])
        sample = np.repeat(first[chunk], counts[chunk]) + rank
        line = np.repeat(chunk, counts[chunk])
        at_m[sample] = np.minimum(rank * (lines.length_m[line] / intervals[line]), lines.length_m[line])
        xy = _points(lines, line, at_m[sample])
        more = {} if progress is None else {"progress": _part_of(progress, done, len(sample), len(z_m))}
        z_m[sample] = sampler(xy[:, 0], xy[:, 1], **more)
        done += len(sample)
    return GroundProfile(first, at_m, z_m, step_m)


def _part_of(progress: Progress, done: int, now: int, total: int) -> Progress:
    return lambda share: progress((done + share * now) / total)


def _chunks_from_north(lines: Lines, counts: np.ndarray) -> Iterator[np.ndarray]:
    """Lines to sample, from north to south, in chunks of bounded size."""
    if not counts.sum():
        return
    order = np.argsort(-lines.xy[lines.first[:-1], 1], kind="stable")
    order = order[counts[order] > 0]
    chunk = (np.cumsum(counts[order]) - 1) // _SAMPLES_AT_ONCE
    yield from np.split(order, np.flatnonzero(np.diff(chunk)) + 1)


def _points(lines: Lines, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    xy = np.empty((len(line), 2))
    for start in range(0, len(line), _POINTS_AT_ONCE):
        part = slice(start, start + _POINTS_AT_ONCE)
        xy[part] = lines.points_at(line[part], at_m[part])
    return xy
