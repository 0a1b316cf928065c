"""Earth above the crown and depth of the invert, judged continuously along the pipe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .evidence import Evidence
from .legs import ranks
from .ranges import Ranges
from .runs import uncovered
from .sources import Source

_NODES_AT_ONCE = 200_000
_SHORT_GAP_M = 10.0  # two samples of the ground: what lies between is its noise
_LEAST_BREACH_M = 1e-6  # a cover equal to its limit but for rounding keeps it


@dataclass(frozen=True)
class Worst(Ranges):
    """Stretches beyond a limit: worst value and where, its standard error, and the `Source` of the invert there."""

    worst_m: np.ndarray
    at_m: np.ndarray
    sigma_m: np.ndarray
    source: np.ndarray


@dataclass(frozen=True)
class CoverJudged:
    """`shallow` by cover = ground - invert - inside diameter, `deep` by ground - invert; `unknown`: depth not known.

    Where the diameter is unknown, cover is not judged though depth is.
    """

    shallow: Worst
    deep: Worst
    unknown: Ranges


@dataclass(frozen=True)
class _Depths:
    """Depth of the invert below ground at nodes, straight between them; NaN unknown.

    `joined`: whether each node and the next lie on one line and both have a depth.
    """

    line: np.ndarray
    at_m: np.ndarray
    depth_m: np.ndarray
    joined: np.ndarray


@dataclass(frozen=True)
class _Breaches(Ranges):
    """Stretches under a limit, with the worst value and its place."""

    worst_m: np.ndarray
    at_m: np.ndarray


def judge_cover(
    evidence: Evidence, active: np.ndarray, least_cover_m: float, greatest_depth_m: float
) -> CoverJudged:
    """Judge the `active` lines (a mask) wherever their depth is known.

    It is known between measured inverts with ground above, else where a depth is stated; a usual depth is
    no knowledge. Ground, inverts and stated depths run straight between what is known of them.
    """
    diameter_m = evidence.drains.diameter_m[evidence.lines.drain]
    noise_m = evidence.limits["ground_error"]
    shallow, deep, known = [], [], []
    for nodes in _depth_chunks(evidence, active):
        shallow.append(_below(nodes, nodes.depth_m - diameter_m[nodes.line], least_cover_m, noise_m))
        deep.append(_below(nodes, -nodes.depth_m, -greatest_depth_m, noise_m))
        known.append(_known(nodes))
    lines, from_m, to_m = (
        np.concatenate([np.zeros(0, dtype=kind), *(getattr(part, name) for part in known)])
        for name, kind in (("line", np.int64), ("from_m", float), ("to_m", float))
    )
    return CoverJudged(
        _described(evidence, shallow, 1.0),
        _described(evidence, deep, -1.0),
        uncovered(Ranges(lines, from_m, to_m), evidence.lines, active),
    )


def _described(evidence: Evidence, parts: list[_Breaches], sign: float) -> Worst:
    """All breaches, with the error and the source of their worst value."""
    line, from_m, to_m, worst_m, at_m = (
        np.concatenate([np.zeros(0, dtype=kind), *(getattr(part, name) for part in parts)])
        for name, kind in (
            ("line", np.int64), ("from_m", float), ("to_m", float), ("worst_m", float), ("at_m", float),
        )
    )
    order = np.argsort(line, kind="stable")
    line, from_m, to_m, worst_m, at_m = (column[order] for column in (line, from_m, to_m, worst_m, at_m))
    drain = evidence.lines.drain[line]
    sigma_m, source = evidence.depth_error_m[drain], evidence.depth_source[drain]
    if evidence.ground is not None:
        inverts = evidence.measured_at(line, at_m)
        measured = np.isfinite(evidence.ground.at(line, at_m) - inverts.z_m)
        sigma_m = np.where(measured, np.hypot(evidence.limits["ground_error"], inverts.sigma_m), sigma_m)
        source = np.where(measured, inverts.source, source)
    return Worst(line, from_m, to_m, sign * worst_m, at_m, sigma_m, source)


def _depth_chunks(evidence: Evidence, active: np.ndarray) -> Iterator[_Depths]:
    """Depths along the active lines, some lines at once: those with ground, then those without."""
    samples = evidence.ground.count if evidence.ground is not None else np.zeros(len(active), dtype=np.int64)
    lines = np.flatnonzero(active & (samples > 0))
    chunk = np.cumsum(samples[lines]) // _NODES_AT_ONCE
    for some in np.split(lines, np.flatnonzero(np.diff(chunk)) + 1) if len(lines) else ():
        yield _under_ground(evidence, some)
    line = np.repeat(np.flatnonzero(active & (samples == 0)), 2)
    at_m = evidence.lines.length_m[line]
    at_m[::2] = 0.0
    yield _with_stated(evidence, line, at_m, np.full(len(line), np.nan))


def _with_stated(evidence: Evidence, line: np.ndarray, at_m: np.ndarray, depth_m: np.ndarray) -> _Depths:
    """Depths at nodes, which are those stated where they are NaN."""
    stated = evidence.depth_source != Source.DEFAULT_DEPTH
    if stated.any():
        fill = np.flatnonzero(np.isnan(depth_m) & stated[evidence.lines.drain[line]])
        depth_m[fill] = evidence.depth_m(line[fill], at_m[fill])
    known = np.isfinite(depth_m)
    return _Depths(line, at_m, depth_m, known[:-1] & known[1:] & (line[:-1] == line[1:]))


def _under_ground(evidence: Evidence, lines: np.ndarray) -> _Depths:
    """Depths of lines with ground at the samples and at the measured points between them."""
    points, ground = evidence.points, evidence.ground
    samples, many = ground.count[lines], points.count[lines]
    own, point = np.repeat(np.arange(len(lines)), many), np.repeat(points.first[lines], many) + ranks(many)
    point_at_m = points.at_m[point]
    rank = np.fmin(ground.rank_at(lines[own], point_at_m), samples[own] - 1.0)
    after = np.ceil(rank)
    new = after != rank  # not on a sample
    put_in = np.bincount(own[new], minlength=len(lines))
    nodes = samples + put_in
    # a point comes after the samples before it and the points put in before it, on all lines so far
    place = (np.cumsum(samples) - samples)[own] + after.astype(np.int64) + np.cumsum(new) - new

    line, at_m, depth_m = np.repeat(lines, nodes), np.empty(nodes.sum()), np.empty(nodes.sum())
    is_sample = np.ones(len(line), dtype=bool)
    is_sample[place[new]] = False
    sample_line, sample = line[is_sample], ranks(samples)
    at_m[is_sample] = ground.place_m(sample_line, sample)
    at_m[place[new]] = point_at_m[new]
    sample += np.repeat(ground.first[lines], samples)
    depth_m[is_sample] = ground.base_m[sample_line] + ground.above_base_m[sample]
    depth_m[place[new]] = ground.at(lines[own[new]], point_at_m[new])
    depth_m -= _between_points(points.z_m[point], point_at_m, own, place, at_m)
    return _with_stated(evidence, line, at_m, depth_m)


def _between_points(
    z_m: np.ndarray, point_at_m: np.ndarray, own: np.ndarray, place: np.ndarray, at_m: np.ndarray
) -> np.ndarray:
    """Straight between the points of each line at nodes `at_m`; the points are the nodes `place`; NaN beyond them."""
    slope = np.full(len(z_m) + 1, np.nan)
    np.divide(np.diff(z_m), np.diff(point_at_m), out=slope[1:-1], where=own[1:] == own[:-1])
    start_m = np.append(np.nan, z_m) - slope * np.append(np.nan, point_at_m)
    until_next = np.diff(place, prepend=0, append=len(at_m))
    values = np.repeat(slope, until_next)
    values *= at_m
    values += np.repeat(start_m, until_next)
    values[place] = z_m
    return values


def _barely_left(nodes: _Depths, excess: np.ndarray, low: np.ndarray, noise_m: float) -> np.ndarray:
    """Between each breach interval (from node `low` to the next node) and the one before: whether the value stayed
    known and within the noise of its limit."""
    if len(low) < 2:
        return np.zeros(max(len(low) - 1, 0), dtype=bool)
    left = np.cumsum((excess > noise_m) | ~np.append(nodes.joined, False))  # nodes at which the breach was truly left
    return left[low[1:]] == left[low[:-1]]


def _known(nodes: _Depths) -> Ranges:
    """The longest stretches of known depth."""
    joined = np.concatenate([[False], nodes.joined, [False]])
    first = np.flatnonzero(joined[1:] & ~joined[:-1])
    last = np.flatnonzero(joined[:-1] & ~joined[1:])
    return Ranges(nodes.line[first], nodes.at_m[first], nodes.at_m[last])


def _below(nodes: _Depths, values_m: np.ndarray, limit_m: float, noise_m: float) -> _Breaches:
    """Stretches where a value, straight between nodes, is under its limit: they end exactly where it is crossed.

    Two of them with a short gap in which the value rises above the limit by no more than `noise_m` are one.
    """
    excess = values_m - limit_m
    low = np.flatnonzero(nodes.joined & (np.minimum(excess[:-1], excess[1:]) < -_LEAST_BREACH_M))
    a, b = excess[low], excess[low + 1]
    at_a, at_b = nodes.at_m[low], nodes.at_m[low + 1]
    crosses = (a < 0.0) != (b < 0.0)
    crossing_m = at_a + np.where(crosses, a / np.where(crosses, a - b, 1.0), 0.0) * (at_b - at_a)
    from_m, to_m = np.where(a < 0.0, at_a, crossing_m), np.where(b < 0.0, at_b, crossing_m)
    line = nodes.line[low]
    new = np.ones(len(low), dtype=bool)
    short = from_m[1:] - to_m[:-1] <= _SHORT_GAP_M
    new[1:] = (from_m[1:] > to_m[:-1]) & ~(_barely_left(nodes, excess, low, noise_m) & short)
    new[1:] |= line[1:] != line[:-1]
    group, first = np.cumsum(new) - 1, np.flatnonzero(new)
    last = np.append(first[1:], len(low))[: len(first)] - 1
    lower = np.where(a <= b, low, low + 1)
    worst = lower[np.lexsort((excess[lower], group))[first]]
    return _Breaches(line[first], from_m[first], to_m[last], values_m[worst], nodes.at_m[worst])
