"""Rows of open lower ends: neighbouring laterals that reach no outlet and end side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..county import County
from .combs import Combs
from .stake import Systems

_MAINS = ("submain", "main", "outlet_pipe")


@dataclass(frozen=True)
class OpenRow:
    """Lines and their open ends (2 x line, + 1 for the last vertex) in order across.

    `by_inverts`: the inverts tell that these are the lower ends; `spacing_m` the middle distance between neighbours.
    """

    line: np.ndarray
    end: np.ndarray
    xy: np.ndarray
    by_inverts: bool
    spacing_m: float


def open_rows(county: County, combs: Combs) -> list[OpenRow]:
    """All rows of at least `row_least` neighbours; where no invert tells which side is lower, the straighter row, and
    none where they run into drawn pipe on the other side."""
    systems = Systems(county, joined=True)
    lacking = ~systems.has_outlet[systems.of_line[combs.line]]
    found = []
    for rows in _runs(combs, lacking, int(county.limits["row_least"])):
        sides = [_side(county, combs, rows, side) for side in (0, 1)]
        lower = _lower_side(county, combs, rows)
        chosen = [sides[lower]] if lower is not None else sides
        if lower is None and any(_run_into_pipe(county, combs, rows, side) for side in (0, 1)):
            continue
        chosen = [row for row in chosen if len(row.line) >= county.limits["row_least"]]
        if chosen:
            best = min(chosen, key=lambda row: _unevenness_m(row.xy))
            found.append(OpenRow(best.line, best.end, best.xy, lower is not None, best.spacing_m))
    return found


def _runs(combs: Combs, chosen: np.ndarray, least: int) -> list[np.ndarray]:
    """Rows of consecutive chosen members of one comb."""
    rows = np.flatnonzero(chosen)
    breaks = (np.diff(rows) > 1) | (combs.comb[rows][1:] != combs.comb[rows][:-1])
    return [run for run in np.split(rows, np.flatnonzero(breaks) + 1) if len(run) >= least]


def _ends(combs: Combs, rows: np.ndarray, side: int) -> np.ndarray:
    return 2 * combs.line[rows] + (combs.turned[rows] != bool(side))


def _side(county: County, combs: Combs, rows: np.ndarray, side: int) -> OpenRow:
    """The members with an open end on one side."""
    net = county.network
    end = _ends(combs, rows, side)
    end = end[_is_open(county, end)]
    line = end // 2
    vertex = np.where(end % 2, net.lines.first[line + 1] - 1, net.lines.first[line])
    gaps = combs.gap_m[rows[:-1]]
    return OpenRow(line, end, net.lines.xy[vertex], False, float(np.median(gaps)))


def _is_open(county: County, end: np.ndarray) -> np.ndarray:
    """Whether nothing joins at an end nor is proposed to, or only one pipe from the other side whose water comes down
    to it as well."""
    net = county.network
    waiting = net.proposed.where(~net.applied)
    node = net.nodes.of_end[end]
    arriving = np.bincount(net.node_down[net.direction != 0], minlength=len(net.nodes))
    degree = net.node_degree[node]
    open_ = (degree == 1) | ((degree == 2) & (arriving[node] == 2))
    return open_ & ~np.isin(end, waiting.end)


def _run_into_pipe(county: County, combs: Combs, rows: np.ndarray, side: int) -> bool:
    """Whether most members join a main on one side, or pipe that they have in common, though it reaches no outlet."""
    net, end = county.network, _ends(combs, rows, side)
    joined = end[~_is_open(county, end)]
    if 2 * len(joined) < len(rows):
        return False
    at_joints = np.isin(np.concatenate([net.node_up, net.node_down]), net.nodes.of_end[joined])
    met = np.setdiff1d(np.tile(net.pieces.line, 2)[at_joints], combs.line[rows])
    if not len(met):
        return False
    mains = np.isin(net.drains.role[net.lines.drain[met]].astype(str), _MAINS)
    return bool(mains.mean() > 0.5) or 2 * len(met) <= len(joined)


def _lower_side(county: County, combs: Combs, rows: np.ndarray) -> int | None:
    """The side on which most laterals are lower, None where too few inverts are known."""
    net, line = county.network, combs.line[rows]
    z = [net.levels.level_at(line, np.where(_ends(combs, rows, side) % 2, net.lines.length_m[line], 0.0))
         for side in (0, 1)]
    fall = z[0] - z[1]
    fall = fall[np.isfinite(fall)]
    if 2 * len(fall) < len(rows):
        return None
    higher = (fall > 0).mean()
    return 1 if higher >= 0.7 else 0 if higher <= 0.3 else None


def _unevenness_m(xy: np.ndarray) -> float:
    """How far ends lie off the straight line through the first and the last, in the middle."""
    along = xy[-1] - xy[0]
    size = np.hypot(*along)
    off = xy - xy[0]
    return float(np.median(np.abs(along[0] * off[:, 1] - along[1] * off[:, 0]) / size)) if size > 0 else np.inf
