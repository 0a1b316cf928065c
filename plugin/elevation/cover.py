"""Earth above the crown and depth of the invert, judged continuously along the pipe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .along import running_m
from .evidence import Evidence
from .ranges import Ranges
from .runs import uncovered
from .sources import Source

_NODES_AT_ONCE = 1_000_000
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
    drain = evidence.lines.drain[line]
    sigma_m, source = evidence.depth_error_m[drain], evidence.depth_source[drain]
    if evidence.ground is not None:
        inverts = evidence.measured_at(line, at_m)
        measured = np.isfinite(evidence.ground.at(evidence.lines, line, at_m) - inverts.z_m)
        sigma_m = np.where(measured, np.hypot(evidence.limits["ground_error"], inverts.sigma_m), sigma_m)
        source = np.where(measured, inverts.source, source)
    return Worst(line, from_m, to_m, sign * worst_m, at_m, sigma_m, source)


def _depth_chunks(evidence: Evidence, active: np.ndarray) -> Iterator[_Depths]:
    sampled = np.diff(evidence.ground.first) if evidence.ground is not None else 0
    nodes = np.cumsum(np.where(active, sampled + evidence.points.count + 2, 0))
    low = 0
    while low < len(active):
        done = nodes[low - 1] if low else 0
        high = max(int(np.searchsorted(nodes, done + _NODES_AT_ONCE, side="right")), low + 1)
        yield _depths(evidence, active, low, min(high, len(active)))
        low = high


def _depths(evidence: Evidence, active: np.ndarray, low: int, high: int) -> _Depths:
    """Depths at the nodes of the active lines `low` to `high`: measured under ground, else stated."""
    line, at_m, ground_m = _nodes(evidence, active, low, high)
    points = slice(evidence.points.first[low], evidence.points.first[high])
    depth_m = ground_m - evidence.measured_at(line, at_m, points).z_m
    stated = (evidence.depth_source != Source.DEFAULT_DEPTH)[evidence.lines.drain]
    if stated[low:high].any():
        fill = np.flatnonzero(np.isnan(depth_m) & stated[line])
        depth_m[fill] = evidence.depth_m(line[fill], at_m[fill])
    known = np.isfinite(depth_m)
    return _Depths(line, at_m, depth_m, known[:-1] & known[1:] & (line[:-1] == line[1:]))


def _nodes(evidence: Evidence, active: np.ndarray, low: int, high: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Line, place and ground of the nodes of the lines `low` to `high`: ground samples, measured points, ends."""
    lines, points, ground = evidence.lines, evidence.points, evidence.ground
    point = slice(points.first[low], points.first[high])
    every = np.arange(low, high)
    line = np.concatenate([every, every, points.line[point]])
    at_m = np.concatenate([np.zeros(high - low), lines.length_m[low:high], points.at_m[point]])
    line, at_m = line[active[line]], at_m[active[line]]
    order = np.lexsort((at_m, line))
    again = np.diff(running_m(lines, line, at_m)[order], prepend=-1.0) == 0.0  # a point at an end
    line, at_m = line[order[~again]], at_m[order[~again]]
    if ground is None:
        return line, at_m, np.full(len(line), np.nan)
    # samples are many and sorted, so the others are put in between them, but not where a sample stands
    sample = slice(ground.first[low], ground.first[high])
    sample_line, sample_at_m, sample_z_m = ground.line_of(low, high), ground.at_m[sample], ground.z_m[sample]
    if not active[low:high].all():
        keep = active[sample_line]
        sample_line, sample_at_m, sample_z_m = sample_line[keep], sample_at_m[keep], sample_z_m[keep]
    samples, others = running_m(lines, sample_line, sample_at_m), running_m(lines, line, at_m)
    place = np.searchsorted(samples, others)
    new = np.append(samples, np.inf)[place] != others
    line, at_m, place = line[new], at_m[new], place[new]
    ground_m = ground.at(lines, line, at_m, low, high)
    return (
        np.insert(sample_line, place, line), np.insert(sample_at_m, place, at_m), np.insert(sample_z_m, place, ground_m)
    )


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
