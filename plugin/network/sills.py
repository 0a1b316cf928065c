"""Water held back by a high place in another pipe downstream.

Going down from every pipe, the highest invert still to be crossed is its sill; of several ways out the
water takes the lowest. One pass up the network, linear in pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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
    pool = down.pool[node]
    foot_m = net.levels.level_at(line, foot_at)
    held = np.flatnonzero((direction != 0) & (sill_m[pool] > foot_m + 1e-6))
    rows = []
    for k in held.tolist():  # few: most pipe falls
        level, sill = float(sill_m[pool[k]]), int(by_piece[pool[k]])
        low, high, depth, at = _reach(net, int(line[k]), float(from_m[k]), float(to_m[k]), direction[k], level)
        sigma = net.levels.sigma_at(line[[k]], np.array([at]))[0]
        error = np.hypot(sigma, top_sigma_m[sill])
        rows.append((line[k], low, high, depth, error, net.pieces.line[sill], net.component[node[k]]))
    columns = [np.array(c) for c in zip(*rows)] if rows else [np.zeros(0)] * 7
    whole = [np.asarray(columns[k], dtype=np.int64) for k in (0, 5, 6)]
    return HeldBack(whole[0], *(np.asarray(columns[k], dtype=float) for k in (1, 2, 3, 4)), whole[1], whole[2])


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


def _reach(
    net: Network, line: int, from_m: float, to_m: float, direction: float, level: float
) -> tuple[float, float, float, float]:
    """How far up from its foot a stretch stands in water of a level: from, to, depth at most, and where."""
    points = net.levels.points
    at = points.at_m[points.first[line] : points.first[line + 1]]
    at = np.unique(np.concatenate([[from_m, to_m], at[(at > from_m) & (at < to_m)]]))
    if direction > 0:
        at = at[::-1]
    z = net.levels.level_at(np.full(len(at), line), at)
    known = int(np.argmax(np.isnan(z))) if np.isnan(z).any() else len(z)
    at, z = at[:known], z[:known]
    dry = np.flatnonzero(z >= level)
    last = int(dry[0]) if len(dry) else len(z) - 1
    end = at[last]
    if len(dry):
        share = (level - z[last - 1]) / (z[last] - z[last - 1])
        end = at[last - 1] + share * (at[last] - at[last - 1])
    wet = z[: last if len(dry) else last + 1]
    deepest = int(np.argmin(wet))
    return float(min(at[0], end)), float(max(at[0], end)), float(level - wet[deepest]), float(at[deepest])
