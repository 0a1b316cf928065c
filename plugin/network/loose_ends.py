"""Loose ends: ends of drains from which no outlet can be reached."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .joints import end_at_m, end_xy
from .network import Network
from .parts import query_in_parts

_RECEIVES = {"lateral": ("submain", "main", "outlet_pipe"), "submain": ("main", "outlet_pipe"),
             "main": ("main", "outlet_pipe"), "outlet_pipe": ("outlet_pipe", "main")}
REACH_M = 150.0  # a pipe of the right kind farther off than this is no likelier than the nearest of any kind
_ANYWHERE_M = 1e7


@dataclass(frozen=True)
class LooseEnds:
    """Line and place of each loose end, the line it could join (-1: none near) and the gap to it."""

    line: np.ndarray
    at_m: np.ndarray
    xy: np.ndarray
    toward: np.ndarray
    gap_m: np.ndarray


def find_loose_ends(network: Network, asked: np.ndarray | None = None) -> LooseEnds:
    """Of every drain without outlet the end nearest to another drain, if nothing joins or is proposed there.

    `asked`: of these drains only (a mask); the pipe an end could join may be any.

    A drain that crosses another without a joint is asked about at the crossing, not also at its end.

    The gap of a lateral is measured to a submain, main or outlet pipe where one is near, since that is what it
    joins; else to the nearest other drain. An end near such a pipe goes before one near any other.
    """
    drain = network.lines.drain
    lacking = np.zeros(len(network.drains), dtype=bool)
    lacking[network.drains_without_outlet] = True
    if asked is not None:
        lacking &= asked
    line = np.flatnonzero(network.used & lacking[drain])
    end = np.column_stack([2 * line, 2 * line + 1]).ravel()
    toward, gap, likely = nearest_pipe(network, end, network.used)
    order = np.lexsort((end, gap, ~likely, drain[end // 2]))
    first = np.ones(len(order), dtype=bool)
    first[1:] = drain[end[order] // 2][1:] != drain[end[order] // 2][:-1]
    chosen = order[first]
    end, toward, gap = end[chosen], toward[chosen], gap[chosen]
    free = (network.node_degree[network.nodes.of_end[end]] == 1) & ~np.isin(end, _proposing_ends(network))
    free &= ~np.isin(drain[end // 2], _crossing_drains(network))
    end, toward, gap = end[free], toward[free], gap[free]
    return LooseEnds(end // 2, end_at_m(network.lines)[end], end_xy(network.lines)[end], toward, gap)


def _proposing_ends(network: Network) -> np.ndarray:
    """Ends at which a joint is proposed, from either side."""
    waiting = network.proposed.where(~network.applied)
    length = network.lines.length_m[waiting.other]
    at_end = waiting.at_end
    met = 2 * waiting.other[at_end] + (waiting.at_m[at_end] > length[at_end] / 2)
    return np.concatenate([waiting.end, met])


def _crossing_drains(network: Network) -> np.ndarray:
    return network.lines.drain[np.concatenate([network.crossings.line, network.crossings.other])]


def nearest_pipe(network: Network, end: np.ndarray, used: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For each end the other line of those `used` it could join, the gap (0 where it is joined to one already), and
    whether that line is of a kind that takes its water."""
    role = network.drains.role[network.lines.drain]
    toward, gap = _nearest_among(network, end, used, _ANYWHERE_M)
    likely = np.zeros(len(end), dtype=bool)
    for kind, receivers in _RECEIVES.items():
        rows = np.flatnonzero(role[end // 2] == kind)
        if len(rows):
            among = used & np.isin(role.astype(str), receivers)
            better, distance = _nearest_among(network, end[rows], among, REACH_M)
            near = better >= 0
            toward[rows[near]], gap[rows[near]], likely[rows[near]] = better[near], distance[near], True
    joined = network.node_degree[network.nodes.of_end[end]] > 1
    gap[joined], likely[joined] = 0.0, True
    return toward, gap, likely


def _nearest_among(
    network: Network, end: np.ndarray, among: np.ndarray, most_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Nearest line of `among` (a mask) that is not the end's own drain; -1 where none lies within `most_m`."""
    toward, gap = np.full(len(end), -1, dtype=np.int64), np.full(len(end), np.inf)
    used, tree = network.line_index
    drain = network.lines.drain
    points = shapely.points(end_xy(network.lines)[end])
    reach_m = 2.0 * network.tolerance_m + 10.0
    waiting = np.arange(len(end))
    while len(waiting):  # widen the circle until another drain is in it
        query, hit = query_in_parts(
            tree, points[waiting], predicate="dwithin", distance=min(reach_m, most_m)
        )
        row, line = waiting[query], used[hit]
        other = among[line] & (drain[line] != drain[end[row] // 2])
        row, line = row[other], line[other]
        distance = shapely.distance(points[row], network.lines.geometry[line])
        order = np.lexsort((line, distance, row))
        first = np.ones(len(order), dtype=bool)
        first[1:] = row[order][1:] != row[order][:-1]
        best = order[first]
        toward[row[best]], gap[row[best]] = line[best], distance[best]
        waiting = np.setdiff1d(waiting, row[best]) if reach_m < most_m else waiting[:0]
        reach_m *= 4.0
    return toward, gap
