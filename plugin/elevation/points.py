"""Measured inverts at places of pipes: level shots, attributes of drains, machine logs, drawn elevations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..limits import Limits
from ..network.lines import Lines
from ..tables import Drains, Shots
from .along import first_of_line
from .shots import UnusedShot, place_shots
from .sources import Source, invert_sigma_m, invert_source, rank, z_is_invert

_LEAST_SIGMA_M = 1e-4  # keeps an error given as 0 from outweighing everything without end


@dataclass(frozen=True)
class Disagreement:
    """Inverts for one place that differ beyond their errors; `difference_m` is other less kept, `allowed_m` what
    their errors allow."""

    line: np.ndarray
    at_m: np.ndarray
    difference_m: np.ndarray
    allowed_m: np.ndarray
    kept_source: np.ndarray
    other_source: np.ndarray


@dataclass(frozen=True)
class InvertPoints:
    """Measured inverts, sorted by line and place, one a place; those of line i are rows first[i]:first[i + 1].

    `source` holds numbers of `Source`. `disagreements` and `unused_shots` are faults of the data.
    """

    line: np.ndarray
    at_m: np.ndarray
    z_m: np.ndarray
    sigma_m: np.ndarray
    source: np.ndarray
    first: np.ndarray
    disagreements: Disagreement
    unused_shots: list[UnusedShot]

    def __len__(self) -> int:
        return len(self.line)

    @property
    def count(self) -> np.ndarray:
        """Number of points on each line."""
        return np.diff(self.first)


def collect_points(lines: Lines, drains: Drains, shots: Shots, limits: Limits, tolerance_m: float) -> InvertPoints:
    """The best measured invert at every place that has one.

    The inverts of a drain's start and end hold at the first vertex of its first part and the last of its
    last. Elevations drawn with a line count where an instrument located it. At one place the better
    source is kept, and equals become their mean weighted by 1/σ², its error widened by their scatter.
    """
    placed, unused = place_shots(lines, drains, shots, limits, tolerance_m)
    shot_source = np.full(len(placed.line), int(Source.SHOT))
    columns = (
        (placed.line, placed.at_m, placed.z_m, placed.sigma_m, shot_source),
        *_attribute_points(lines, drains, limits),
        _vertex_points(lines, drains, limits),
    )
    line, at_m, z_m, sigma_m, source = (np.concatenate(parts) for parts in zip(*columns))
    order = np.lexsort((sigma_m, rank(source), at_m, line))
    return _one_a_place(
        lines, line[order], at_m[order], z_m[order], sigma_m[order], source[order], limits, unused
    )


Columns = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def _attribute_points(lines: Lines, drains: Drains, limits: Limits) -> tuple[Columns, Columns]:
    sigma_m = invert_sigma_m(drains.located_by, drains.invert_error_m, limits)
    source = invert_source(drains.located_by)
    starts = np.ones(len(lines), dtype=bool)
    starts[1:] = lines.drain[1:] != lines.drain[:-1]
    ends = np.roll(starts, -1)

    def at_end(which: np.ndarray, z_of_drain_m: np.ndarray, at_m: np.ndarray) -> Columns:
        line = np.flatnonzero(which)
        line = line[np.isfinite(z_of_drain_m[lines.drain[line]])]
        drain = lines.drain[line]
        return line, at_m[line], z_of_drain_m[drain], sigma_m[drain], source[drain]

    at_start = at_end(starts, drains.invert_start_m, np.zeros(len(lines)))
    return at_start, at_end(ends, drains.invert_end_m, lines.length_m)


def _vertex_points(lines: Lines, drains: Drains, limits: Limits) -> Columns:
    vertex = np.flatnonzero(np.isfinite(lines.z))
    line = np.searchsorted(lines.first, vertex, side="right") - 1
    trusted = z_is_invert(drains.located_by)[lines.drain[line]]
    vertex, line = vertex[trusted], line[trusted]
    sigma_m = invert_sigma_m(drains.located_by, drains.invert_error_m, limits)[lines.drain[line]]
    return line, lines.along_m[vertex], lines.z[vertex], sigma_m, np.full(len(line), int(Source.DRAWN_Z))


def _one_a_place(
    lines: Lines, line: np.ndarray, at_m: np.ndarray, z_m: np.ndarray, sigma_m: np.ndarray, source: np.ndarray,
    limits: Limits, unused: list[UnusedShot],
) -> InvertPoints:
    place = _number_places(line, at_m, limits["same_place"])
    order = np.lexsort((sigma_m, rank(source), place))  # the best of each place first
    line, at_m, z_m, sigma_m, source = line[order], at_m[order], z_m[order], sigma_m[order], source[order]
    first = np.flatnonzero(np.diff(place[order], prepend=-1))
    count = np.diff(first, append=len(place))
    best = np.repeat(first, count)
    equal = rank(source) == rank(source[best])
    weight = equal / np.maximum(sigma_m, _LEAST_SIGMA_M) ** 2
    rest_m = z_m - z_m[best]
    shift_m = _sums(weight * rest_m, first) / _sums(weight, first)
    kept_z_m = z_m[first] + shift_m
    scatter = _sums(weight * (rest_m - np.repeat(shift_m, count)) ** 2, first)
    equals = _sums(equal.astype(float), first)
    widened = np.sqrt(np.maximum(1.0, scatter / np.maximum(equals - 1.0, 1.0)) / _sums(weight, first))
    kept_sigma_m = np.where(equals > 1.0, widened, sigma_m[first])
    allowed_m = limits["misfit_errors"] * np.hypot(sigma_m, sigma_m[best])
    misfit = np.abs(rest_m) > allowed_m + 1e-9
    disagreements = Disagreement(
        line[misfit], at_m[best][misfit], rest_m[misfit], allowed_m[misfit], source[best][misfit], source[misfit]
    )
    kept_line = line[first]
    kept_at_m = _at_ends(at_m, first, lines.length_m[kept_line])
    return InvertPoints(
        kept_line, kept_at_m, kept_z_m, kept_sigma_m, source[first], first_of_line(kept_line, len(lines)),
        disagreements, unused,
    )


def _number_places(line: np.ndarray, at_m: np.ndarray, same_place_m: float) -> np.ndarray:
    """Number the places; points of a line closer together than `same_place_m` share one.

    A chain of close points, as a machine log draws, is cut into places of that length.
    """
    index = np.arange(len(line))
    apart = np.ones(len(line), dtype=bool)
    apart[1:] = (line[1:] != line[:-1]) | (np.diff(at_m) > same_place_m)
    start = np.maximum.accumulate(np.where(apart, index, 0)) if len(line) else index
    within = np.floor((at_m - at_m[start]) / same_place_m + 1e-9) if len(line) else at_m
    fresh = apart.copy()
    fresh[1:] |= within[1:] != within[:-1]
    return np.cumsum(fresh) - 1


def _sums(values: np.ndarray, first: np.ndarray) -> np.ndarray:
    return np.add.reduceat(values, first) if len(first) else np.zeros(0)


def _at_ends(at_m: np.ndarray, first: np.ndarray, length_m: np.ndarray) -> np.ndarray:
    """Where each place counts: at the pipe's end if one of its points is there, else at its best point."""
    if not len(first):
        return np.zeros(0)
    lowest, highest = np.minimum.reduceat(at_m, first), np.maximum.reduceat(at_m, first)
    return np.select([lowest <= 0.0, highest >= length_m], [0.0, length_m], at_m[first])
