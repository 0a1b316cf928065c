"""Earth above the crown and depth of the invert, judged continuously along the pipe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from .evidence import Evidence
from .ranges import Ranges
from .runs import uncovered
from .sources import Source

_NODES_AT_ONCE = 1_000_000
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
    """Depth of the invert below ground at nodes, straight between them; NaN unknown."""

    line: np.ndarray
    at_m: np.ndarray
    depth_m: np.ndarray
    sigma_m: np.ndarray
    source: np.ndarray


def judge_cover(
    evidence: Evidence, active: np.ndarray, least_cover_m: float, greatest_depth_m: float
) -> CoverJudged:
    """Judge the `active` lines (a mask) wherever their depth is known.

    It is known between measured inverts with ground above, else where a depth is stated; a usual depth is
    no knowledge. Ground, inverts and stated depths run straight between what is known of them.
    """
    shallow, deep, known = [], [], []
    for nodes in _depth_chunks(evidence, active):
        diameter_m = evidence.drains.diameter_m[evidence.lines.drain[nodes.line]]
        shallow.append(_below(nodes, nodes.depth_m - diameter_m, least_cover_m))
        deep.append(_above(nodes, nodes.depth_m, greatest_depth_m))
        known.append(_known(nodes))
    return CoverJudged(
        _joined(Worst, shallow), _joined(Worst, deep), uncovered(_joined(Ranges, known), evidence.lines, active)
    )


def _joined(kind: type, parts: list) -> Ranges:
    empty = {"line": np.zeros(0, dtype=np.int64)}
    return kind(*(
        np.concatenate([empty.get(column.name, np.zeros(0)), *(getattr(part, column.name) for part in parts)])
        for column in fields(kind)
    ))


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
    line, at_m = _nodes(evidence, active, low, high)
    drain = evidence.lines.drain[line]
    stated = evidence.depth_source[drain] != Source.DEFAULT_DEPTH
    depth_m = np.where(stated, evidence.depth_m(line, at_m), np.nan)
    sigma_m = np.where(stated, evidence.depth_error_m[drain], np.nan)
    source = np.where(stated, evidence.depth_source[drain], int(Source.NONE))
    if evidence.ground is not None:
        points = slice(evidence.points.first[low], evidence.points.first[high])
        inverts = evidence.measured_at(line, at_m, points)
        measured_m = evidence.ground.at(evidence.lines, line, at_m, low, high) - inverts.z_m
        known = np.isfinite(measured_m)
        depth_m = np.where(known, measured_m, depth_m)
        sigma_m = np.where(known, np.hypot(evidence.limits["ground_error"], inverts.sigma_m), sigma_m)
        source = np.where(known, inverts.source, source)
    return _Depths(line, at_m, depth_m, sigma_m, source)


def _nodes(evidence: Evidence, active: np.ndarray, low: int, high: int) -> tuple[np.ndarray, np.ndarray]:
    """Where the active lines `low` to `high` are looked at: ends, measured points, ground samples."""
    lines, points, ground = evidence.lines, evidence.points, evidence.ground
    point = slice(points.first[low], points.first[high])
    every = np.arange(low, high)
    line = [every, every, points.line[point]]
    at_m = [np.zeros(high - low), lines.length_m[low:high], points.at_m[point]]
    if ground is not None:
        line.append(ground.line_of(low, high))
        at_m.append(ground.at_m[ground.first[low] : ground.first[high]])
    line, at_m = np.concatenate(line), np.concatenate(at_m)
    order = np.lexsort((at_m, line))
    order = order[active[line[order]]]
    return line[order], at_m[order]


def _known(nodes: _Depths) -> Ranges:
    """The longest stretches of known depth."""
    low = np.flatnonzero(_pairs(nodes, nodes.depth_m))
    new = np.ones(len(low), dtype=bool)
    new[1:] = (np.diff(low) > 1) | (nodes.line[low[1:]] != nodes.line[low[:-1]])
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(low))[: len(first)] - 1
    return Ranges(nodes.line[low[first]], nodes.at_m[low[first]], nodes.at_m[low[last] + 1])


def _pairs(nodes: _Depths, values: np.ndarray) -> np.ndarray:
    """Whether each node and the next are of one line and both have a value."""
    known = np.isfinite(values)
    return known[:-1] & known[1:] & (nodes.line[:-1] == nodes.line[1:])


def _above(nodes: _Depths, values_m: np.ndarray, limit_m: float) -> Worst:
    found = _below(nodes, -values_m, -limit_m)
    return Worst(found.line, found.from_m, found.to_m, -found.worst_m, found.at_m, found.sigma_m, found.source)


def _below(nodes: _Depths, values_m: np.ndarray, limit_m: float) -> Worst:
    """Stretches where a value, straight between nodes, is under its limit: they end exactly where it is crossed."""
    excess = values_m - limit_m
    low = np.flatnonzero(_pairs(nodes, excess) & (np.fmin(excess[:-1], excess[1:]) < -_LEAST_BREACH_M))
    a, b = excess[low], excess[low + 1]
    at_a, at_b = nodes.at_m[low], nodes.at_m[low + 1]
    crosses = (a < 0.0) != (b < 0.0)
    crossing_m = at_a + np.where(crosses, a / np.where(crosses, a - b, 1.0), 0.0) * (at_b - at_a)
    from_m, to_m = np.where(a < 0.0, at_a, crossing_m), np.where(b < 0.0, at_b, crossing_m)
    line = nodes.line[low]
    real = to_m > from_m
    low, line, from_m, to_m, a, b = low[real], line[real], from_m[real], to_m[real], a[real], b[real]
    new = np.ones(len(low), dtype=bool)
    new[1:] = (line[1:] != line[:-1]) | (from_m[1:] > to_m[:-1])
    group, first = np.cumsum(new) - 1, np.flatnonzero(new)
    last = np.append(first[1:], len(low))[: len(first)] - 1
    lower = np.where(a <= b, low, low + 1)
    worst = lower[np.lexsort((excess[lower], group))[first]]
    return Worst(
        line[first], from_m[first], to_m[last], values_m[worst], nodes.at_m[worst], nodes.sigma_m[worst],
        nodes.source[worst],
    )
