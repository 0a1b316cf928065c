"""Low places inside a pipe where water stands after the flow has stopped."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..network.lines import Lines
from .along import between, running_m
from .points import InvertPoints
from .ranges import Ranges

_STRETCHES_AT_ONCE = 50_000


@dataclass(frozen=True)
class Pools(Ranges):
    """Standing water: how deep at most and where, the level it stands at, and the standard error of the depth."""

    depth_m: np.ndarray
    at_m: np.ndarray
    level_m: np.ndarray
    sigma_m: np.ndarray


@dataclass(frozen=True)
class Nodes:
    """Measured inverts of stretches, each stretch from its downstream to its upstream end."""

    stretch: np.ndarray
    at_m: np.ndarray
    z_m: np.ndarray
    sigma_m: np.ndarray


def pools(lines: Lines, points: InvertPoints, stretches: Ranges, direction: np.ndarray) -> Pools:
    """Water left standing in each stretch of pipe, which flows in drawn `direction` (+1) or against it (-1).

    The level at a place is the highest invert between it and the downstream end of the stretch; depth is
    level less invert. Inverts run straight between measured points; nothing is said outside them.
    """
    parts = []
    for begin in range(0, max(len(stretches), 1), _STRETCHES_AT_ONCE):
        some = slice(begin, begin + _STRETCHES_AT_ONCE)
        parts.append(_pools(lines, points, stretches.only(some), direction[some]))
    found = Pools(*(np.concatenate([getattr(part, column.name) for part in parts]) for column in fields(Pools)))
    order = np.lexsort((found.from_m, found.line))
    return Pools(*(getattr(found, column.name)[order] for column in fields(Pools)))


def _pools(lines: Lines, points: InvertPoints, stretches: Ranges, direction: np.ndarray) -> Pools:
    nodes = nodes_from_below(lines, points, stretches, direction)
    sill = _highest_so_far(nodes.stretch, nodes.z_m)
    depth_m = nodes.z_m[sill] - nodes.z_m
    wet = depth_m > 1e-9
    begins = wet.copy()
    begins[1:] &= ~wet[:-1] | (nodes.stretch[1:] != nodes.stretch[:-1])
    first = np.flatnonzero(begins)
    last = np.flatnonzero(wet & ~np.append((wet & ~begins)[1:], False)[: len(wet)])
    deepest = _deepest(depth_m, first, last)
    downstream_m = nodes.at_m[sill[first]]
    upstream_m = _upper_edge_m(nodes, first, last, nodes.z_m[sill[first]])
    line = stretches.line[nodes.stretch[first]]
    return Pools(
        line,
        np.minimum(downstream_m, upstream_m),
        np.maximum(downstream_m, upstream_m),
        depth_m[deepest],
        nodes.at_m[deepest],
        nodes.z_m[sill[first]],
        np.hypot(nodes.sigma_m[deepest], nodes.sigma_m[sill[first]]),
    )


def nodes_from_below(lines: Lines, points: InvertPoints, stretches: Ranges, direction: np.ndarray) -> Nodes:
    """The measured points within each stretch and, where known, its two ends."""
    place = running_m(lines, points.line, points.at_m)
    low = np.searchsorted(place, running_m(lines, stretches.line, stretches.from_m), side="right")
    high = np.searchsorted(place, running_m(lines, stretches.line, stretches.to_m), side="left")
    count = np.maximum(high - low, 0)
    rank = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    inner = np.repeat(low, count) + rank
    every = np.arange(len(stretches))
    ends_line, ends_at_m = np.tile(stretches.line, 2), np.concatenate([stretches.from_m, stretches.to_m])
    ends = between(lines, points.line, points.at_m, ends_line, ends_at_m)
    stretch = np.concatenate([np.repeat(every, count), every, every])
    at_m = np.concatenate([points.at_m[inner], ends_at_m])
    z_m = np.concatenate([points.z_m[inner], ends.straight(points.z_m)])
    sigma_m = np.concatenate([points.sigma_m[inner], ends.straight(points.sigma_m)])
    upstream_m = -at_m * direction[stretch]  # grows upstream
    order = np.lexsort((upstream_m, stretch))
    order = order[np.isfinite(z_m[order]) & (direction[stretch[order]] != 0)]
    return Nodes(stretch[order], at_m[order], z_m[order], sigma_m[order])


def _highest_so_far(stretch: np.ndarray, z_m: np.ndarray) -> np.ndarray:
    """Index of the highest node between each node and the downstream end of its stretch, itself included."""
    nodes = len(z_m)
    by_height = np.argsort(z_m, kind="stable")
    rank = np.empty(nodes, dtype=np.int64)
    rank[by_height] = np.arange(nodes)
    return by_height[np.maximum.accumulate(stretch * nodes + rank) - stretch * nodes]


def _deepest(depth_m: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Index of the deepest node of each pool, its nodes being `first` to `last`."""
    pool = np.repeat(np.arange(len(first)), last - first + 1)
    node = np.arange(len(pool)) - np.repeat(np.cumsum(last - first + 1) - (last - first + 1), last - first + 1)
    node += first[pool] if len(pool) else 0
    order = np.lexsort((-depth_m[node], pool))
    starts = np.cumsum(last - first + 1) - (last - first + 1)
    return node[order][starts]


def _upper_edge_m(nodes: Nodes, first: np.ndarray, last: np.ndarray, level_m: np.ndarray) -> np.ndarray:
    """Where each pool ends upstream: where the invert rises through the level, else where the evidence ends."""
    above = np.minimum(last + 1, len(nodes.z_m) - 1)
    rises = (above > last) & (nodes.stretch[above] == nodes.stretch[last])
    rise_m = np.where(rises, nodes.z_m[above] - nodes.z_m[last], 1.0)
    share = np.where(rises, (level_m - nodes.z_m[last]) / rise_m, 0.0)
    return nodes.at_m[last] + share * (nodes.at_m[above] - nodes.at_m[last])
