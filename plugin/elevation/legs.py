"""Evenly spaced places along lines, told by the straight stretches they stand on.

A county has tens of places on every straight stretch of pipe; where they stand is worked out when they are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from ..network.lines import Lines

_LINES_AT_ONCE = 50_000
_ON_VERTEX = 1e-9  # of a distance between places: rounding


@dataclass(frozen=True)
class Legs:
    """Straight stretches with evenly spaced places, some of one line.

    Leg i holds the samples `sample[i]` + k for k = 0 ... `count[i]` - 1, at x[i] + k dx[i] and y[i] + k dy[i].
    """

    line: np.ndarray
    sample: np.ndarray
    count: np.ndarray
    x: np.ndarray
    y: np.ndarray
    dx: np.ndarray
    dy: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    @classmethod
    def of_points(cls, x: np.ndarray, y: np.ndarray) -> Legs:
        """Single places."""
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        none = np.zeros(len(x))
        return cls(np.zeros(len(x), np.int32), np.arange(len(x)), np.ones(len(x), np.int32), x, y, none, none)

    def only(self, which: np.ndarray | slice) -> Legs:
        return Legs(*(getattr(self, column.name)[which] for column in fields(self)))

    def part(self, of: np.ndarray, low: np.ndarray, high: np.ndarray) -> Legs:
        """Of each leg `of`, the places `low` to `high` (not included)."""
        legs = self.only(of)
        return replace(
            legs, sample=legs.sample + low, count=high - low, x=legs.x + low * legs.dx, y=legs.y + low * legs.dy
        )

    def in_chunks(self, most: int) -> Iterator[Legs]:
        """Legs one after another, with about `most` places at once."""
        chunk = np.cumsum(self.count, dtype=np.int64) // most
        edges = np.flatnonzero(np.diff(chunk)) + 1
        for low, high in zip([0, *edges.tolist()], [*edges.tolist(), len(self)]):
            if high > low:
                yield self.only(slice(low, high))

    @property
    def last_xy(self) -> tuple[np.ndarray, np.ndarray]:
        """Where the last place of each leg stands."""
        return self.x + (self.count - 1) * self.dx, self.y + (self.count - 1) * self.dy

    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """Coordinates of all places, leg by leg."""
        rank = ranks(self.count).astype(float)
        x = np.repeat(self.dx, self.count)
        x *= rank
        x += np.repeat(self.x, self.count)
        y = np.repeat(self.dy, self.count)
        y *= rank
        y += np.repeat(self.y, self.count)
        return x, y

    def samples(self) -> np.ndarray:
        """The number of the sample at each place, leg by leg."""
        return np.repeat(self.sample, self.count) + ranks(self.count)


def ranks(count: np.ndarray) -> np.ndarray:
    """0 ... count[0] - 1, 0 ... count[1] - 1 and so on in one array."""
    stop = np.cumsum(count, dtype=np.int64)
    return np.arange(stop[-1] if len(stop) else 0) - np.repeat(stop - count, count)


def legs_along(lines: Lines, intervals: np.ndarray, first: np.ndarray) -> Legs:
    """Places at both ends of each line and between, `intervals` apart (none where 0), numbered from `first` on."""
    chosen = np.flatnonzero(intervals > 0)
    some = [_legs_of(lines, chosen[begin : begin + _LINES_AT_ONCE], intervals, first)
            for begin in range(0, max(len(chosen), 1), _LINES_AT_ONCE)]
    return Legs(*(np.concatenate([getattr(legs, column.name) for legs in some]) for column in fields(Legs)))


def _legs_of(lines: Lines, chosen: np.ndarray, intervals: np.ndarray, first: np.ndarray) -> Legs:
    vertices = np.diff(lines.first)[chosen]
    vertex = np.repeat(lines.first[chosen], vertices) + ranks(vertices)
    last = np.cumsum(vertices) - 1
    apart_m = lines.length_m[chosen] / intervals[chosen]
    # the first place at or after each vertex; the place at the end belongs to the last leg
    place = np.ceil(lines.along_m[vertex] / np.repeat(apart_m, vertices) - _ON_VERTEX).astype(np.int64)
    place[last] = intervals[chosen] + 1
    count = np.diff(place, append=0)
    count[last] = 0
    leg = np.flatnonzero(count)
    of = np.repeat(np.arange(len(chosen)), vertices)[leg]
    line, low, place, apart_m = chosen[of], vertex[leg], place[leg], apart_m[of]
    begin_m = lines.along_m[low]
    way = (lines.xy[low + 1] - lines.xy[low]) / (lines.along_m[low + 1] - begin_m)[:, None]
    start = lines.xy[low] + (place * apart_m - begin_m)[:, None] * way
    way *= apart_m[:, None]
    return Legs(line.astype(np.int32), first[line] + place, count[leg].astype(np.int32), *start.T, *way.T)
