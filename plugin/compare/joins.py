"""How lines of a layout meet other pipe: crossings, loose ends, joints that wait, and at which level they tie in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas
import shapely

from ..elevation.grade import p_reverse, sigma_of_fall_m
from ..network.joints import end_xy
from ..network.loose_ends import nearest_pipe
from ..network.near import near_any
from ..network.network import Network
from ..network.settled import CONFIRMED
from ..tables import Structures
from .found import Found
from .given import Settings
from .trials import Trial

_NAMES_TOLD = 6


def check_joins(trial: Trial, wanted: np.ndarray, settings: Settings) -> tuple[list[Found], np.ndarray]:
    """What is found of the lines `wanted` (by row of the layout); and which of them lack a level to judge a tie-in."""
    low, unknown = _tie_ins(trial, wanted, settings)
    found = [*_crossings(trial, wanted), *_without_outlet(trial, wanted, settings), *low]
    if settings.accept_proposed:
        found.append(_joints_counted_as_real(trial, wanted, settings))
    return found, unknown


def _named(net: Network, drain: np.ndarray) -> list[str]:
    return [str(name) for name in net.drains.name[drain]]


def _listed(names: list[str]) -> str:
    names = list(dict.fromkeys(names))
    more = len(names) - _NAMES_TOLD
    return ", ".join(names[:_NAMES_TOLD]) + (f" and {more:,} more" if more > 0 else "")


def _crossings(trial: Trial, wanted: np.ndarray) -> Iterator[Found]:
    """Crossings of lines of the layout with the archive's pipe and with each other.

    Of two lines of the layout that one is named that reaches no outlet, else that one which crosses more; else both.
    """
    net = trial.network
    row = trial.layout_row()
    line = np.concatenate([net.crossings.line, net.crossings.other])
    other = np.concatenate([net.crossings.other, net.crossings.line])
    drain, met = net.lines.drain[line], net.lines.drain[other]
    lacking = np.isin(np.arange(len(net.drains)), net.drains_without_outlet).astype(int)
    times = np.bincount(drain, minlength=len(net.drains))
    against_archive = row[met] < 0
    worse = np.where(lacking[drain] != lacking[met], lacking[drain] > lacking[met], times[drain] >= times[met])
    kept = np.flatnonzero((row[drain] >= 0) & (against_archive | worse) & (drain != met))
    kept = kept[wanted[row[drain[kept]]]]
    xy_m = np.concatenate([net.crossings.xy, net.crossings.xy])[kept]
    detail = _told_by_line(row[drain[kept]], _named(net, met[kept]), against_archive[kept])
    yield Found.of("crossing", row[drain[kept]], np.nan, net.drains.drain_id[met[kept]], detail, xy_m)


def _told_by_line(line: np.ndarray, names: list[str], of_archive: np.ndarray) -> list[str]:
    """For every crossing all that its line crosses."""
    met: dict[int, tuple[list[str], list[str]]] = {}
    for one, name, old in zip(line.tolist(), names, of_archive.tolist()):
        met.setdefault(one, ([], []))[0 if old else 1].append(name)
    told = {}
    for one, (ours, theirs) in met.items():
        pipes = [_listed(ours)] if ours else []
        pipes += [f"of the layout {_listed(theirs)}"] if theirs else []
        count = len(ours) + len(theirs)
        told[one] = f"crosses {' and '.join(pipes)} without a joint" + (f" ({count} places)" if count > 1 else "")
    return [told[one] for one in line.tolist()]


def _without_outlet(trial: Trial, wanted: np.ndarray, settings: Settings) -> Iterator[Found]:
    """Lines in the network that reach no outlet: by a joint that waits, by the pipe they join, or in the open."""
    net, row = trial.network, trial.layout_row()
    drain = np.intersect1d(net.drains_without_outlet, np.flatnonzero(row >= 0))
    drain = drain[wanted[row[drain]]]
    line = np.flatnonzero(np.isin(net.lines.drain, drain) & _used(net))
    end = np.column_stack([2 * line, 2 * line + 1]).ravel()
    of_end = net.lines.drain[end // 2]
    joined = np.isin(drain, of_end[net.node_degree[net.nodes.of_end[end]] > 1])
    waits = np.isin(drain, net.drains_waiting)
    own_joint = _own_joints(net, drain)
    near = waits & (own_joint >= 0)
    yield _near_joints(trial, drain[near], own_joint[near], settings)
    through = waits & ~near
    yield Found.of("depends", row[drain[through]], np.nan, None,
                   "reaches its outlet once a proposed joint below it is accepted")
    yield _onto_lost_pipe(trial, drain[joined & ~waits])
    yield _loose(trial, drain[~joined & ~waits], end, settings)


def _onto_lost_pipe(trial: Trial, drain: np.ndarray) -> Found:
    """Lines that join pipe, of the archive where there is such, which reaches no outlet."""
    net, row = trial.network, trial.layout_row()
    node, piece = np.concatenate([net.node_up, net.node_down]), np.tile(np.arange(len(net.piece_drain)), 2)
    met = np.full(len(net.drains), -1, dtype=np.int64)
    own = np.flatnonzero(np.isin(net.piece_drain[piece], drain))
    pairs = pandas.DataFrame({"node": node[own], "drain": net.piece_drain[piece[own]]}).merge(
        pandas.DataFrame({"node": node, "other": net.piece_drain[piece]}), on="node")
    pairs = pairs[pairs["drain"] != pairs["other"]]
    order = np.argsort(row[pairs["other"].to_numpy()] < 0, kind="stable")  # what is written last counts
    met[pairs["drain"].to_numpy()[order]] = pairs["other"].to_numpy()[order]
    found = met[drain]
    names = _named(net, np.maximum(found, 0))
    detail = [f"joins {name}, which reaches no outlet" if known else "joins pipe that reaches no outlet"
              for name, known in zip(names, found >= 0)]
    return Found.of("no-outlet", row[drain], np.nan, np.where(found >= 0, net.drains.drain_id[found], None), detail)


def _used(net: Network) -> np.ndarray:
    used = np.zeros(len(net.lines), dtype=bool)
    used[net.pieces.line] = True
    return used


def _own_joints(net: Network, drain: np.ndarray) -> np.ndarray:
    """The proposed joint between each drain and another with the smallest gap, a row of network.proposed; -1: none."""
    waiting = np.flatnonzero(~net.applied)
    joints = net.proposed.where(waiting)
    best = np.full(len(net.drains), -1, dtype=np.int64)
    order = np.argsort(-joints.gap_m, kind="stable")
    for one in (joints.line, joints.other):
        best[net.lines.drain[one[order]]] = waiting[order]
    return best[drain]


def _joints_counted_as_real(trial: Trial, wanted: np.ndarray, settings: Settings) -> Found:
    """Lines with a proposed joint that counts in this run only, the one with the smallest gap."""
    net, row = trial.network, trial.layout_row()
    place = net.lines.points_at(net.proposed.other, net.proposed.at_m)
    kept = near_joints_kept(net.structures, place, settings.tolerance_m)
    open_ = np.flatnonzero(net.applied & ~kept)
    joints = net.proposed.where(open_)
    best = np.full(len(net.drains), -1, dtype=np.int64)
    order = np.argsort(-joints.gap_m, kind="stable")
    for one in (joints.other, joints.line):
        best[net.lines.drain[one[order]]] = open_[order]
    drain = np.flatnonzero((best >= 0) & (row >= 0))
    drain = drain[wanted[row[drain]]]
    return _near_joints(trial, drain, best[drain], settings)


def near_joints_kept(structures: Structures, xy_m: np.ndarray, reach_m: float) -> np.ndarray:
    """Which places have a structure of kind joint that somebody confirmed."""
    rows = (structures.kind == "joint") & np.isin(structures.evidence.astype(str), CONFIRMED)
    return near_any(shapely.points(xy_m), shapely.points(structures.xy_m[rows]), reach_m)


def _near_joints(trial: Trial, drain: np.ndarray, joint: np.ndarray, settings: Settings) -> Found:
    net = trial.network
    joints = net.proposed.where(joint)
    met = np.where(net.lines.drain[joints.line] == drain, net.lines.drain[joints.other], net.lines.drain[joints.line])
    show = settings.units.show_length
    detail = [f"ends {show(gap, 2)} from {name}" for gap, name in zip(joints.gap_m, _named(net, met))]
    xy_m = net.lines.points_at(joints.other, joints.at_m)
    return Found.of("near-joint", trial.layout_row()[drain], joints.gap_m, net.drains.drain_id[met], detail, xy_m)


def _loose(trial: Trial, drain: np.ndarray, end: np.ndarray, settings: Settings) -> Found:
    """Of each drain the end that is nearer to pipe it could join; neither meets any."""
    net = trial.network
    end = end[np.isin(net.lines.drain[end // 2], drain)]
    toward, gap_m, likely = nearest_pipe(net, end, _used(net))
    order = np.lexsort((end, gap_m, ~likely, net.lines.drain[end // 2]))
    first = np.ones(len(order), dtype=bool)
    first[1:] = np.diff(net.lines.drain[end[order] // 2]) > 0
    best = order[first]
    end, toward, gap_m = end[best], toward[best], gap_m[best]
    met = net.lines.drain[np.maximum(toward, 0)]
    gap_m = np.where(toward >= 0, gap_m, np.nan)
    show = settings.units.show_length
    detail = [
        f"neither end meets a pipe; nearest {show(gap)} from {name}" if known else "no pipe near"
        for gap, name, known in zip(gap_m, _named(net, met), toward >= 0)
    ]
    other = np.where(toward >= 0, net.drains.drain_id[met], None)
    row = trial.layout_row()[net.lines.drain[end // 2]]
    return Found.of("loose-end", row, gap_m, other, detail, end_xy(net.lines)[end])


def _tie_ins(trial: Trial, wanted: np.ndarray, settings: Settings) -> tuple[list[Found], np.ndarray]:
    """Where water passes from one pipe to another and at least one of them is of the layout."""
    net, row = trial.network, trial.layout_row()
    above, below = _passages(net, np.flatnonzero(row[net.piece_drain] >= 0))
    upper, lower = net.pieces.line[above], net.pieces.line[below]
    foot, top = _foot_m(net, above), _top_m(net, below)
    fall_m = net.levels.level_at(upper, foot) - net.levels.level_at(lower, top)
    sigma_m = sigma_of_fall_m(net.levels.sigma_at(upper, foot), net.levels.sigma_at(lower, top))
    chance = p_reverse(fall_m, sigma_m)
    own = np.where(row[net.lines.drain[upper]] >= 0, net.lines.drain[upper], net.lines.drain[lower])
    of, is_upper = row[own], own == net.lines.drain[upper]
    met = np.where(is_upper, net.lines.drain[lower], net.lines.drain[upper])
    kept = wanted[of]
    unknown = np.zeros(len(wanted), dtype=bool)
    unknown[of[kept & np.isnan(chance)]] = True
    show = settings.units.show_length
    found = []
    for class_id, which in (
        ("tie-in-low", chance >= settings.limits["p_reverse"]),
        ("tie-in-unsure", (fall_m < 0.0) & (chance < settings.limits["p_reverse"])),
    ):
        rows = np.flatnonzero(kept & which)
        detail = [
            f"{show(-fall, 3)} below the invert of {name}" if up else f"{name} would enter it {show(-fall, 3)} too low"
            for fall, name, up in zip(fall_m[rows], _named(net, met[rows]), is_upper[rows])
        ]
        xy_m = net.nodes.xy[net.node_down[above[rows]]]
        found.append(Found.of(class_id, of[rows], -fall_m[rows], net.drains.drain_id[met[rows]], detail, xy_m))
    return found, unknown


def _passages(net: Network, own: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of pieces of different lines of which the first runs into the second, one of them among `own`."""
    flows = np.flatnonzero(net.direction != 0)
    order = flows[np.argsort(net.node_up[flows], kind="stable")]
    top = net.node_up[order]
    begin, end = (np.searchsorted(top, net.node_down[flows], side=side) for side in ("left", "right"))
    count = end - begin
    above = np.repeat(flows, count)
    below = order[np.repeat(begin - (np.cumsum(count) - count), count) + np.arange(count.sum())]
    mine = np.zeros(len(net.pieces), dtype=bool)
    mine[own] = True
    kept = (mine[above] | mine[below]) & (net.pieces.line[above] != net.pieces.line[below])
    kept &= ~np.isin(net.node_down[above], net.outlets.node)
    return above[kept], below[kept]


def _foot_m(net: Network, piece: np.ndarray) -> np.ndarray:
    return np.where(net.direction[piece] > 0, net.pieces.to_m[piece], net.pieces.from_m[piece])


def _top_m(net: Network, piece: np.ndarray) -> np.ndarray:
    return np.where(net.direction[piece] > 0, net.pieces.from_m[piece], net.pieces.to_m[piece])
