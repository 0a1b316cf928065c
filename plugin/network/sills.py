"""Water held back by a high place in another pipe downstream.

Going down from every pipe, the highest invert still to be crossed is its sill; of several ways out the
water takes the lowest. One pass up the network, linear in pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..elevation.ranges import Ranges
from ..elevation.sag import nodes_from_below
from .flow import Downward
from .grades import flow_ranges
from .network import Network


@dataclass(frozen=True)
class HeldBack:
    """Stretches with standing water: depth at most and its error, the line of the sill, and the system's component."""

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    depth_m: np.ndarray
    sigma_m: np.ndarray
    sill_line: np.ndarray
    component: np.ndarray


def standing_behind_sills(net: Network, down: Downward) -> HeldBack:
    """Every stretch whose water is held back by a pipe farther down."""
    top_m, top_sigma_m = _highest_in_pieces(net)
    sill_m, by_piece = _sills(down, top_m)
    line, from_m, to_m, direction = flow_ranges(net)
    foot_at = np.where(direction > 0, to_m, from_m)
    node = _node_at(net, line, foot_at)
    foot_m = net.levels.level_at(line, foot_at)
    held = np.flatnonzero((direction != 0) & (sill_m[down.pool[node]] > foot_m + 1e-6))
    sill = by_piece[down.pool[node[held]]]
    stretches = Ranges(line[held], from_m[held], to_m[held])
    from_m, to_m, depth_m, sigma_m = _reach_up(net, stretches, direction[held], top_m[sill])
    error_m = np.hypot(sigma_m, top_sigma_m[sill])
    return HeldBack(
        stretches.line, from_m, to_m, depth_m, error_m, net.pieces.line[sill], net.component[node[held]]
    )


def _highest_in_pieces(net: Network) -> tuple[np.ndarray, np.ndarray]:
    """Highest known invert in every piece and its error; -inf where none is known."""
    pieces, points = net.pieces, net.levels.points
    ends = [net.levels.level_at(pieces.line, at) for at in (pieces.from_m, pieces.to_m)]
    errors = [net.levels.sigma_at(pieces.line, at) for at in (pieces.from_m, pieces.to_m)]
    top = np.where(np.isnan(ends[0]), -np.inf, ends[0])
    sigma = errors[0].copy()
    higher = ends[1] > top
    top[higher], sigma[higher] = ends[1][higher], errors[1][higher]
    start = np.concatenate([[0.0], np.cumsum(net.lines.length_m + 1.0)])
    order = np.lexsort((pieces.from_m, pieces.line))
    begin = start[pieces.line[order]] + pieces.from_m[order]
    place = start[points.line] + points.at_m
    of = np.searchsorted(begin, place, side="right") - 1
    inside = of >= 0
    inside[inside] &= (pieces.line[order[of[inside]]] == points.line[inside]) & (
        points.at_m[inside] <= pieces.to_m[order[of[inside]]]
    )
    piece = np.concatenate([np.arange(len(pieces)), order[of[inside]]])
    level = np.concatenate([top, points.z_m[inside]])
    error = np.concatenate([sigma, points.sigma_m[inside]])
    by_level = np.lexsort((level, piece))
    last = np.ones(len(by_level), dtype=bool)
    last[:-1] = piece[by_level][1:] != piece[by_level][:-1]
    best = by_level[last]
    return level[best], error[best]


def _sills(down: Downward, top_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Level of the sill below every pool (-inf: none known), and the piece it lies in."""
    leaves = np.zeros(down.pool_count, dtype=bool)
    leaves[down.up] = True
    sill = np.where(leaves, np.inf, -np.inf)
    piece_of = np.full(down.pool_count, -1, dtype=np.int64)
    for begin, end in reversed(list(zip(down.level_starts[:-1], down.level_starts[1:]))):
        piece, up, foot = down.piece[begin:end], down.up[begin:end], down.down[begin:end]
        own = top_m[piece] >= sill[foot]
        level = np.where(own, top_m[piece], sill[foot])
        where = np.where(own, piece, piece_of[foot])
        order = np.lexsort((level, up))
        first = np.ones(len(order), dtype=bool)
        first[1:] = up[order][1:] != up[order][:-1]
        best = order[first]
        sill[up[best]], piece_of[up[best]] = level[best], where[best]
    return sill, piece_of


def _node_at(net: Network, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    """The node at an end of a piece of each line."""
    pieces = net.pieces
    start = np.concatenate([[0.0], np.cumsum(net.lines.length_m + 1.0)])
    places = np.concatenate([start[pieces.line] + pieces.from_m, start[pieces.line] + pieces.to_m])
    nodes = np.concatenate([pieces.node_from, pieces.node_to])
    order = np.argsort(places, kind="stable")
    found = np.searchsorted(places[order], start[line] + at_m - 1e-6)
    return nodes[order[np.minimum(found, len(order) - 1)]]


def _reach_up(
    net: Network, stretches: Ranges, direction: np.ndarray, level_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Where each stretch, whose foot lies under water of a level, stands in it: from, to, depth at most and its error.

    Farther up than the first invert at that level there may be pools of other humps, which are not counted.
    """
    nodes = nodes_from_below(net.lines, net.levels.points, stretches, direction)
    if not len(stretches):
        return (np.zeros(0),) * 4
    index = np.arange(len(nodes.z_m))
    first = np.searchsorted(nodes.stretch, np.arange(len(stretches)))
    last = np.append(first[1:], len(index)) - 1
    dry = nodes.z_m >= level_m[nodes.stretch]
    first_dry = np.minimum.reduceat(np.where(dry, index, len(index)), first)
    top = np.minimum(first_dry - 1, last)  # the highest place under water
    above = np.minimum(top + 1, last)
    rise_m = nodes.z_m[above] - nodes.z_m[top]
    share = np.where(above > top, (level_m - nodes.z_m[top]) / np.where(above > top, rise_m, 1.0), 0.0)
    end_m = nodes.at_m[top] + share * (nodes.at_m[above] - nodes.at_m[top])
    under = np.where(index <= top[nodes.stretch], nodes.z_m, np.inf)
    deepest = np.lexsort((under, nodes.stretch))[first]
    low, high = np.minimum(nodes.at_m[first], end_m), np.maximum(nodes.at_m[first], end_m)
    return low, high, level_m - nodes.z_m[deepest], nodes.sigma_m[deepest]
