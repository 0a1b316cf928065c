"""Grades in flow direction: runs of evidence turned the way the water goes, and the call of every piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..elevation.grade import CANNOT_TELL, FALLS, REVERSE, UNKNOWN, call, p_reverse
from ..elevation.ranges import Ranges
from ..elevation.runs import GradeRuns, uncovered
from ..elevation.sources import Source
from ..limits import Limits
from .network import Network
from .ranges import first_of_groups, merge_neighbours, overlaps

CALL_ORDER = (FALLS, CANNOT_TELL, UNKNOWN, REVERSE)  # worst last: a piece has the worst call of its stretches
_LEAST_M = 1e-6  # shorter overlaps are rounding


@dataclass(frozen=True)
class Grades:
    """Stretches with a fall in flow direction (`fall_m` negative where the pipe rises downstream), sorted by place.

    `source` as in GradeRuns. `unknown_...` are the stretches of pipe in the network whose fall nothing tells of.
    Pipe whose direction of flow is unknown is in neither: there is a fall, but nobody knows which way it counts.
    """

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    fall_m: np.ndarray
    sigma_m: np.ndarray
    source: np.ndarray
    p_reverse: np.ndarray
    call: np.ndarray
    direction: np.ndarray
    unknown_line: np.ndarray
    unknown_from_m: np.ndarray
    unknown_to_m: np.ndarray

    @property
    def grade(self) -> np.ndarray:
        """Fall per length, negative where the pipe rises downstream."""
        return self.fall_m / (self.to_m - self.from_m)


@dataclass(frozen=True)
class PieceGrades:
    """Call and largest chance of reverse (NaN without any) of every piece."""

    call: np.ndarray
    p_reverse: np.ndarray


def direct_runs(network: Network, runs: GradeRuns, limits: Limits, doubted_line: np.ndarray) -> Grades:
    """Turn runs into flow direction; a run over a place from which water leaves both ways is cut there.

    `doubted_line`: lines on which the inverts contradict the only outlet. Which way they run is the question
    there, so none of their stretches is called falling.
    """
    line, from_m, to_m, direction = flow_ranges(network)
    row, flow, low, high = overlaps(network.lines, runs.line, runs.from_m, runs.to_m, line, from_m, to_m)
    share = (high - low) / (runs.to_m - runs.from_m)[row]
    keep = (high - low > _LEAST_M) & (direction[flow] != 0)
    row, flow, low, high, share = row[keep], flow[keep], low[keep], high[keep], share[keep]
    fall = runs.fall_m[row] * share * direction[flow]
    sigma = runs.sigma_m[row] * share
    p = p_reverse(fall, sigma)
    called = _doubt_single_log_pairs(network, runs.line[row], runs.source[row], p, call(p, limits), limits)
    called = np.where((called == FALLS) & np.isin(runs.line[row], doubted_line), CANNOT_TELL, called)
    unknown = _unknown(network, runs, Ranges(line, from_m, to_m))
    return Grades(
        runs.line[row], low, high, fall, sigma, runs.source[row], p, called, direction[flow],
        unknown.line, unknown.from_m, unknown.to_m,
    )


def _doubt_single_log_pairs(
    network: Network, line: np.ndarray, source: np.ndarray, p: np.ndarray, called: np.ndarray, limits: Limits
) -> np.ndarray:
    """A machine log has so many neighbouring pairs that some seem reverse by chance in every good drain.

    One pair of a log is called reverse only where its chance of not being so, times the pairs of that log
    (Bonferroni's bound), is still small enough.
    """
    by_machine = network.drains.located_by[network.lines.drain[line]] == "machine_log"
    logged = by_machine & np.isin(source, (Source.LOGGED, Source.DRAWN_Z))
    pairs = np.bincount(line[logged], minlength=len(network.lines))[line]
    by_chance = logged & ((1.0 - p) * pairs > 1.0 - limits["p_reverse"])
    return np.where((called == REVERSE) & by_chance, CANNOT_TELL, called)


def flow_ranges(network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Line, from, to and direction of stretches with one direction, sorted; open both ways counts as 0."""
    pieces = network.pieces
    order, group = merge_neighbours(
        pieces.line, pieces.from_m, pieces.to_m, network.direction, touch_m=network.touch_m
    )
    first = first_of_groups(group)
    line = pieces.line[order][first]
    from_m = np.minimum.reduceat(pieces.from_m[order], first) if len(first) else pieces.from_m
    to_m = np.maximum.reduceat(pieces.to_m[order], first) if len(first) else pieces.to_m
    direction = network.direction[order][first].astype(float)
    place = np.lexsort((from_m, line))
    return line[place], from_m[place], to_m[place], direction[place]


def _unknown(network: Network, covered: Ranges, flowing: Ranges) -> Ranges:
    """The stretches of the network (`flowing`) that no run covers."""
    used = np.zeros(len(network.lines), dtype=bool)
    used[flowing.line] = True
    covered = covered.only(used[covered.line])
    open_ = uncovered(covered, network.lines, used)
    row, _, low, high = overlaps(
        network.lines, open_.line, open_.from_m, open_.to_m, flowing.line, flowing.from_m, flowing.to_m
    )
    real = high - low > _LEAST_M
    return Ranges(open_.line[row[real]], low[real], high[real])


def call_pieces(network: Network, grades: Grades) -> PieceGrades:
    """The worst call of the stretches on each piece."""
    pieces = network.pieces
    code = np.zeros(len(grades.call), dtype=np.int64)
    for rank, word in enumerate(CALL_ORDER):
        code[grades.call == word] = rank
    worst = np.zeros(len(pieces), dtype=np.int64)
    p = np.full(len(pieces), np.nan)
    row, run, low, high = overlaps(
        network.lines, pieces.line, pieces.from_m, pieces.to_m, grades.line, grades.from_m, grades.to_m
    )
    real = high - low > _LEAST_M
    np.maximum.at(worst, row[real], code[run[real]])
    np.fmax.at(p, row[real], grades.p_reverse[run[real]])
    covered = np.zeros(len(pieces), dtype=bool)
    covered[row[real]] = True
    row, _, low, high = overlaps(
        network.lines, pieces.line, pieces.from_m, pieces.to_m,
        grades.unknown_line, grades.unknown_from_m, grades.unknown_to_m,
    )
    unknown = np.zeros(len(pieces), dtype=bool)
    unknown[row[high - low > _LEAST_M]] = True
    unknown |= ~covered | (network.direction == 0)
    worst = np.where(unknown, np.maximum(worst, CALL_ORDER.index(UNKNOWN)), worst)
    return PieceGrades(np.array(CALL_ORDER, dtype=object)[worst], p)
