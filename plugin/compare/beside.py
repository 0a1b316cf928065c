"""How much of a line runs beside other lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..network.lines import Lines
from ..network.nearest import nearest_places

_INTERVALS = 40  # a line is looked at in so many equal parts
_LEAST_ADVANCE = 0.7  # of its own way a part must get on along the other line
_PAIRS_AT_ONCE = 20_000


@dataclass(frozen=True)
class Beside:
    """Pairs of lines: `along[k]` tells which of the equal parts of `line[k]` run beside `other[k]`.

    `offset_m` is the mean distance of those parts, NaN where there is none.
    """

    line: np.ndarray
    other: np.ndarray
    along: np.ndarray
    offset_m: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """Part of the line's length that runs beside the other."""
        return self.along.mean(axis=1) if len(self.line) else np.zeros(0)

    def where(self, keep: np.ndarray) -> Beside:
        return Beside(self.line[keep], self.other[keep], self.along[keep], self.offset_m[keep])

    def share_of_lines(self, lines: int) -> np.ndarray:
        """Part of every line's length that runs beside any of its others."""
        covered = np.zeros((lines, _INTERVALS), dtype=bool)
        np.logical_or.at(covered, self.line, self.along)
        return covered.mean(axis=1)


def run_beside(lines: Lines, line: np.ndarray, other: np.ndarray, distance_m: float, bearing: float) -> Beside:
    """Look at pairs of lines. Drawing direction does not matter.

    A part runs beside the other line where both its ends lie within `distance_m` of it, it gets on along that line,
    and their ways differ by no more than `bearing` (rad). Meeting, crossing and going on from an end is not that.
    """
    parts = [
        _run_beside(lines, line[begin : begin + _PAIRS_AT_ONCE], other[begin : begin + _PAIRS_AT_ONCE], distance_m,
                    bearing)
        for begin in range(0, len(line), _PAIRS_AT_ONCE)
    ]
    along = np.concatenate([np.zeros((0, _INTERVALS), dtype=bool), *(part[0] for part in parts)])
    return Beside(line, other, along, np.concatenate([np.zeros(0), *(part[1] for part in parts)]))


def _run_beside(
    lines: Lines, line: np.ndarray, other: np.ndarray, distance_m: float, bearing: float
) -> tuple[np.ndarray, np.ndarray]:
    share = np.linspace(0.0, 1.0, _INTERVALS + 1)
    count = len(share)
    one, two = np.repeat(line, count), np.repeat(other, count)
    here = lines.points_at(one, (lines.length_m[line][:, None] * share).ravel())
    at_m, away_m = nearest_places(lines, two, here)
    there = lines.points_at(two, at_m).reshape(-1, count, 2)
    here, away_m = here.reshape(-1, count, 2), away_m.reshape(-1, count)
    near = away_m <= distance_m + 1e-9
    way, other_way = np.diff(here, axis=1), np.diff(there, axis=1)
    long, other_long = np.hypot(way[..., 0], way[..., 1]), np.hypot(other_way[..., 0], other_way[..., 1])
    dot = np.abs((way * other_way).sum(axis=2))
    along = near[:, 1:] & near[:, :-1] & (other_long >= _LEAST_ADVANCE * long)
    along &= dot >= np.cos(bearing) * long * other_long
    middle = (away_m[:, 1:] + away_m[:, :-1]) / 2
    counted = along.sum(axis=1)
    offset = np.where(counted > 0, (middle * along).sum(axis=1) / np.maximum(counted, 1), np.nan)
    return along, offset
