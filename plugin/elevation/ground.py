"""Ground heights along pipes, from whatever can tell the ground at points."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ..network.lines import Lines
from .legs import Legs, legs_along, ranks

GroundSampler = Callable[..., np.ndarray]
"""sampler(x_m, y_m) -> z_m, NaN where the ground is missing.

One that reads a raster also has `along(legs, progress)`: it yields the places of legs in the order that suits the
raster, as pairs of legs and their heights; places without ground may be left out.
"""

Progress = Callable[[float], None]
"""Called with the share done, 0 to 1."""

_POINTS_AT_ONCE = 250_000
_ON_SAMPLE = 1e-9  # of a distance between samples: rounding


class SamplingCanceledError(Exception):
    """The user stopped the sampling; there is no result."""


@dataclass(frozen=True)
class GroundProfile:
    """Ground at stations of lines; those of line i are first[i]:first[i + 1], none where it was not sampled.

    Each sampled line has a station at both ends and others evenly between, at most `step_m` apart, so that their
    places need not be kept; only those of the lines in `uneven_m` stand at the places given there.

    Heights are `base_m` of the line plus `above_base_m`, which is NaN where the ground is missing. In single
    precision the second is right to a millionth of a metre where the ground changes by less than 16 m along a
    line, and to a ten-thousandth over a kilometre of height: nothing beside the error of any ground.
    """

    first: np.ndarray
    length_m: np.ndarray
    base_m: np.ndarray
    above_base_m: np.ndarray
    step_m: float
    uneven_m: Mapping[int, np.ndarray] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.above_base_m)

    @classmethod
    def nowhere(cls, length_m: np.ndarray, step_m: float = 0.0) -> GroundProfile:
        """No line is sampled."""
        return cls(np.zeros(len(length_m) + 1, np.int64), length_m, np.zeros(len(length_m)),
                   np.zeros(0, np.float32), step_m)

    @property
    def count(self) -> np.ndarray:
        """Number of samples of each line."""
        return np.diff(self.first)

    @property
    def missing_count(self) -> int:
        """Number of samples without ground."""
        return int(np.isnan(self.above_base_m).sum())

    def places_m(self, low: int = 0, high: int | None = None) -> np.ndarray:
        """Distance along its line of each sample of the lines `low` to `high` (not included)."""
        lines = np.arange(low, len(self.length_m) if high is None else high)
        count = self.count[lines]
        return self.place_m(np.repeat(lines, count), ranks(count))

    def heights_m(self, low: int = 0, high: int | None = None) -> np.ndarray:
        """Ground at each sample of the lines `low` to `high` (not included)."""
        high = len(self.length_m) if high is None else high
        base_m = np.repeat(self.base_m[low:high], self.count[low:high])
        return base_m + self.above_base_m[self.first[low] : self.first[high]]

    def place_m(self, line: np.ndarray, rank: np.ndarray) -> np.ndarray:
        """Distance along its line of the sample number `rank` of each line, counted from 0."""
        place_m = np.minimum(rank * self._apart_m(line), self.length_m[line])
        for own, at_m in self.uneven_m.items():
            rows = np.flatnonzero(line == own)
            place_m[rows] = at_m[rank[rows]]
        return place_m

    def rank_at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Number of the sample at each place, with the share of the way to the next; NaN where there is none."""
        rank = at_m / self._apart_m(line)
        for own, places_m in self.uneven_m.items():
            rows = np.flatnonzero(line == own)
            rank[rows] = np.interp(at_m[rows], places_m, np.arange(len(places_m)), left=np.nan, right=np.nan)
        whole = np.rint(rank)
        rank = np.where(np.abs(rank - whole) < _ON_SAMPLE, whole, rank)
        return np.where((rank >= 0.0) & (rank <= self.first[line + 1] - self.first[line] - 1), rank, np.nan)

    def at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Ground at places, straight between samples; NaN beside a missing one, but not on a sample with ground."""
        line = np.asarray(line, dtype=np.int64)
        rank = self.rank_at(line, np.asarray(at_m, dtype=float))
        found = np.full(len(line), np.nan)
        known = np.flatnonzero(np.isfinite(rank))
        line, rank = line[known], rank[known]
        low = np.floor(rank).astype(np.int64)
        share, sample = rank - low, self.first[line] + low
        before = self.above_base_m[sample].astype(float)
        after = self.above_base_m[sample + (share > 0.0)]
        found[known] = self.base_m[line] + (before + share * (after - before))
        return found

    def carried(self, line: np.ndarray, fresh: GroundProfile) -> GroundProfile:
        """The profile of changed lines: line i has the samples of line[i] of this one, or those of `fresh` where
        line[i] is -1. `fresh` is a profile of the changed lines, in which those lines at least are sampled."""
        kept, new = np.flatnonzero(line >= 0), np.flatnonzero(line < 0)
        old = line[kept]
        count, base_m = fresh.count, fresh.base_m.copy()
        count[kept], base_m[kept] = self.count[old], self.base_m[old]
        first = np.concatenate([[0], np.cumsum(count)])
        above_base_m = np.empty(first[-1], dtype=np.float32)
        for profile, there, here in ((self, old, kept), (fresh, new, new)):
            many = count[here]
            rank = ranks(many)
            above_base_m[np.repeat(first[here], many) + rank] = profile.above_base_m[
                np.repeat(profile.first[there], many) + rank
            ]
        uneven_m = {own: fresh.uneven_m[own] for own in new.tolist() if own in fresh.uneven_m}
        uneven_m.update((own, self.uneven_m[was]) for own, was in zip(kept.tolist(), old.tolist())
                        if was in self.uneven_m)
        return GroundProfile(first, fresh.length_m, base_m, above_base_m, fresh.step_m, uneven_m)

    def with_line(self, length_m: float, at_m: np.ndarray, z_m: np.ndarray) -> GroundProfile:
        """One more line, the last, sampled at places of its own; none: not sampled."""
        line, known_m = len(self.length_m), z_m[np.isfinite(z_m)]
        base_m = float(known_m[0]) if len(known_m) else 0.0
        return replace(
            self,
            first=np.append(self.first, self.first[-1] + len(at_m)),
            length_m=np.append(self.length_m, length_m),
            base_m=np.append(self.base_m, base_m),
            above_base_m=np.concatenate([self.above_base_m, (z_m - base_m).astype(np.float32)]),
            uneven_m={**self.uneven_m, line: at_m} if len(at_m) else self.uneven_m,
        )

    def _apart_m(self, line: np.ndarray) -> np.ndarray:
        """Distance between the samples of lines; NaN where they were not sampled."""
        count = self.first[line + 1] - self.first[line]
        return self.length_m[line] / np.where(count > 1, count - 1.0, np.nan)


def sample_lines(
    lines: Lines, sampler: GroundSampler, step_m: float, active: np.ndarray, progress: Progress | None = None
) -> GroundProfile:
    """Ground along the lines that are `active` (a mask), in bulk."""
    intervals = np.where(active, np.maximum(np.ceil(lines.length_m / step_m - 1e-9), 1.0), 0.0).astype(np.int64)
    first = np.concatenate([[0], np.cumsum(np.where(active, intervals + 1, 0))])
    base_m, above_base_m = np.full(len(lines), np.nan), np.full(first[-1], np.nan, dtype=np.float32)
    along = getattr(sampler, "along", None) or (lambda legs, progress: _point_by_point(sampler, legs, progress))
    for legs, z_m in along(legs_along(lines, intervals, first), progress or (lambda share: None)):
        _set_base(base_m, legs, z_m)
        above_base_m[legs.samples()] = z_m - np.repeat(base_m[legs.line], legs.count)
    return GroundProfile(first, lines.length_m, np.nan_to_num(base_m), above_base_m, step_m)


def _set_base(base_m: np.ndarray, legs: Legs, z_m: np.ndarray) -> None:
    """Heights of a line count from the lowest of the leg that is sampled first."""
    lowest_m = np.fmin.reduceat(z_m, np.cumsum(legs.count) - legs.count) if len(legs) else z_m
    new = np.flatnonzero(np.isnan(base_m[legs.line]) & np.isfinite(lowest_m))[::-1]
    base_m[legs.line[new]] = lowest_m[new]  # of several legs of a line the first comes last, and stays


def _point_by_point(
    sampler: GroundSampler, legs: Legs, progress: Progress
) -> Iterator[tuple[Legs, np.ndarray]]:
    done, total = 0, max(int(legs.count.sum()), 1)
    for some in legs.in_chunks(_POINTS_AT_ONCE):
        z_m = np.asarray(sampler(*some.places()), dtype=float)
        yield some, z_m
        done += len(z_m)
        progress(done / total)
