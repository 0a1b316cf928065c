"""From points in the order they were logged to the lines they were logged along.

All distances in metres, times in seconds. Points are never moved; which of them are used is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from ..limits import Limits

_MOST_ROUNDS = 5  # jumps behind jumps


@dataclass(frozen=True)
class Log:
    """Points as logged. `line`, `part` and `pass_` are None or a word a point; `order` and `time_s` may be NaN."""

    xy_m: np.ndarray
    line: np.ndarray
    part: np.ndarray
    pass_: np.ndarray
    order: np.ndarray
    time_s: np.ndarray


@dataclass(frozen=True)
class Gaps:
    """Where a line ends though the log goes on: farther apart than `distance_m`, or later than `time_s` and moved on.

    NaN: taken from the log, as so many of its median steps (the limits log_gap_steps and log_gap_least).
    """

    distance_m: float = float("nan")
    time_s: float = float("nan")


@dataclass(frozen=True)
class Runs:
    """Lines of a log: points of run i are `point[first[i]:first[i + 1]]`, indices into the log, in order.

    `line` is the word of the log's own line, None where it has none. `later` is the run that goes over the same way
    again, -1 where none does; runs that have one stand last. `gap_m` is the gap that was used for the run's line. The
    rest are points not used: without a place, repeated where the last one stood, jumps there and back, and single ones
    between gaps.
    """

    point: np.ndarray
    first: np.ndarray
    line: np.ndarray
    later: np.ndarray
    gap_m: np.ndarray
    no_place: np.ndarray
    repeated: np.ndarray
    jumped: np.ndarray
    alone: np.ndarray

    def __len__(self) -> int:
        return len(self.line)


def build_runs(log: Log, gaps: Gaps, limits: Limits) -> Runs:
    """Order the points, drop what is no point of a line, cut at gaps, find ways gone over twice."""
    placed = np.isfinite(log.xy_m).all(axis=1)
    code = _codes(log)
    order = _order(log, code, np.flatnonzero(placed))
    order, repeated = _without_repeated(log.xy_m, code, order, limits["log_repeat"])
    gap_m = _gap_of_line(log.xy_m, code, order, gaps, limits)
    order, jumped = _without_jumps(log.xy_m, code, order, gap_m)
    cut = _cuts(log, code, order, gap_m, gaps, limits)
    run = np.cumsum(cut)
    size = np.bincount(run, minlength=0)[1:] if len(run) else np.zeros(0, dtype=int)
    long_enough = size[run - 1] > 1 if len(run) else np.zeros(0, dtype=bool)
    alone, order = order[~long_enough], order[long_enough]
    first = np.concatenate([[0], np.cumsum(size[size > 1])]).astype(np.int64)
    line = log.line[order[first[:-1]]]
    later = _gone_over(log, order, first, line, limits["pass_width"])
    order, first, later = _earlier_passes_last(order, first, later)
    begin = order[first[:-1]]
    return Runs(
        order, first, log.line[begin], later, gap_m[code[begin]], np.flatnonzero(~placed), np.sort(repeated),
        np.sort(jumped), np.sort(alone),
    )


def _codes(log: Log) -> np.ndarray:
    """A number for every line, part and pass, in the order in which they first appear."""
    keys = pd.DataFrame({"line": log.line, "part": log.part, "pass": log.pass_}).fillna("")
    return keys.groupby(["line", "part", "pass"], sort=False).ngroup().to_numpy()


def _order(log: Log, code: np.ndarray, point: np.ndarray) -> np.ndarray:
    """Points line by line; within a line by the log's own order, else by time, else as they stand in the file."""
    by = log.order if not np.isnan(log.order).all() else log.time_s
    by = np.where(np.isnan(by), np.inf, by)
    return point[np.lexsort((point, by[point], code[point]))]


def _steps(xy_m: np.ndarray, code: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Distance from the point before on the same line; infinite at the first of a line."""
    step = np.full(len(order), np.inf)
    if len(order) > 1:
        step[1:] = np.hypot(*(xy_m[order[1:]] - xy_m[order[:-1]]).T)
        step[1:][code[order[1:]] != code[order[:-1]]] = np.inf
    return step


def _without_repeated(
    xy_m: np.ndarray, code: np.ndarray, order: np.ndarray, nearest_m: float
) -> tuple[np.ndarray, np.ndarray]:
    repeated = _steps(xy_m, code, order) <= nearest_m
    return order[~repeated], order[repeated]


def _gap_of_line(xy_m: np.ndarray, code: np.ndarray, order: np.ndarray, gaps: Gaps, limits: Limits) -> np.ndarray:
    """The gap that ends a line, by line: as given, else so many median steps of its own."""
    count = int(code.max()) + 1 if len(code) else 0
    if not np.isnan(gaps.distance_m):
        return np.full(count, gaps.distance_m)
    step = _steps(xy_m, code, order)
    inner = np.isfinite(step)
    median = pd.Series(step[inner]).groupby(code[order][inner]).median()
    found = np.full(count, np.nan)
    found[median.index.to_numpy(dtype=int)] = median.to_numpy()
    return np.fmax(limits["log_gap_steps"] * found, limits["log_gap_least"])


def _without_jumps(
    xy_m: np.ndarray, code: np.ndarray, order: np.ndarray, gap_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Leave out single points beyond the gap from both neighbours, where these are near to each other."""
    left = []
    for _ in range(_MOST_ROUNDS):
        if len(order) < 3:
            break
        step, gap = _steps(xy_m, code, order), gap_m[code[order]]
        over = np.full(len(order), np.inf)
        over[1:-1] = np.hypot(*(xy_m[order[2:]] - xy_m[order[:-2]]).T)
        far_before, far_after = (step > gap) & np.isfinite(step), np.zeros(len(order), dtype=bool)
        far_after[:-1] = far_before[1:]
        jump = far_before & far_after & (over <= gap)
        jump[1:] &= ~jump[:-1]  # of two in a row the first; the second may stand well without it
        if not jump.any():
            break
        left.append(order[jump])
        order = order[~jump]
    return order, np.concatenate(left) if left else np.zeros(0, dtype=np.int64)


def _cuts(
    log: Log, code: np.ndarray, order: np.ndarray, gap_m: np.ndarray, gaps: Gaps, limits: Limits
) -> np.ndarray:
    """Whether a run begins at each point. A pause alone is no end: the machine has to have moved on meanwhile."""
    step = _steps(log.xy_m, code, order)
    cut = step > gap_m[code[order]]
    if len(order) > 1:
        wait = np.zeros(len(order))
        wait[1:] = np.diff(log.time_s[order])
        inner = np.isfinite(step) & (wait > 0)
        if inner.any():
            longest = gaps.time_s
            if np.isnan(longest):
                longest = limits["log_gap_steps"] * float(np.median(wait[inner]))
            moved = step > 2 * float(np.median(step[np.isfinite(step)]))
            cut |= inner & (wait > longest) & moved
    if len(cut):
        cut[0] = True
    return cut


def _gone_over(
    log: Log, order: np.ndarray, first: np.ndarray, line: np.ndarray, width_m: float
) -> np.ndarray:
    """For each run the last later run of the same line (of any, where the log names none) over most of its way."""
    later = np.full(len(line), -1, dtype=np.int64)
    if len(line) < 2:
        return later
    size = np.diff(first)
    run = np.repeat(np.arange(len(line)), size)
    shapes = shapely.linestrings(log.xy_m[order], indices=run)
    tree = shapely.STRtree(shapes)
    here, there = tree.query(shapes, predicate="dwithin", distance=width_m)
    named = pd.factorize(line)[0]
    pair = (there > here) & (named[here] == named[there])
    here, there = here[pair], there[pair]
    if not len(here):
        return later
    count = size[here]
    of_pair = np.repeat(np.arange(len(here)), count)
    inner = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    points = shapely.points(log.xy_m[order[first[here][of_pair] + inner]])
    near = shapely.distance(points, shapes[there[of_pair]]) <= width_m
    share = np.bincount(of_pair, weights=near, minlength=len(here)) / count
    over = share > 0.5
    np.maximum.at(later, here[over], there[over])
    return later


def _earlier_passes_last(
    order: np.ndarray, first: np.ndarray, later: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Runs that are gone over later after the others, so that a pass that counts comes before one that does not."""
    by = np.argsort(later >= 0, kind="stable")
    size = np.diff(first)[by]
    new_first = np.concatenate([[0], np.cumsum(size)]).astype(np.int64)
    inner = np.arange(len(order)) - np.repeat(new_first[:-1], size)
    place = np.empty(len(by) + 1, dtype=np.int64)
    place[by], place[-1] = np.arange(len(by)), -1
    return order[np.repeat(first[:-1][by], size) + inner], new_first, place[later[by]]
