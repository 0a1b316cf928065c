"""Grades in flow direction: runs of evidence turned the way the water goes, and the call of every piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..elevation.grade import call, p_reverse
from ..elevation.runs import GradeRuns, Ranges, uncovered
from ..limits import Limits
from .network import Network
from .ranges import first_of_groups, merge_neighbours, overlaps

CALL_ORDER = ("falls", "cannot_tell", "unknown", "reverse")  # worst last: a piece has the worst call of its stretches


@dataclass(frozen=True)
class Grades:
    """Stretches with a fall in flow direction (`fall_m` negative where the pipe rises downstream), sorted by place.

    `source` as in GradeRuns. `unknown_...` are the stretches of pipe in the network that nothing tells of.
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


def direct_runs(network: Network, runs: GradeRuns, limits: Limits) -> Grades:
    """Turn runs into flow direction; a run over a place from which water leaves both ways is cut there."""
    line, from_m, to_m, direction = flow_ranges(network)
    row, flow, low, high = overlaps(network.lines, runs.line, runs.from_m, runs.to_m, line, from_m, to_m)
    share = (high - low) / (runs.to_m - runs.from_m)[row]
    keep = (high - low > 1e-9) & (direction[flow] != 0)
    row, flow, low, high, share = row[keep], flow[keep], low[keep], high[keep], share[keep]
    fall = runs.fall_m[row] * share * direction[flow]
    sigma = runs.sigma_m[row] * share
    p = p_reverse(fall, sigma)
    gaps = _unknown(network, Ranges(runs.line[row], low, high), Ranges(line, from_m, to_m))
    source = runs.source[row]
    return Grades(runs.line[row], low, high, fall, sigma, source, p, call(p, limits), direction[flow], *gaps)


def flow_ranges(network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Line, from, to and direction of stretches with one direction, sorted; open both ways counts as 0."""
    pieces = network.pieces
    order, group = merge_neighbours(pieces.line, pieces.from_m, pieces.to_m, network.direction, touch_m=1e-3)
    first = first_of_groups(group)
    line = pieces.line[order][first]
    from_m = np.minimum.reduceat(pieces.from_m[order], first) if len(first) else pieces.from_m
    to_m = np.maximum.reduceat(pieces.to_m[order], first) if len(first) else pieces.to_m
    direction = network.direction[order][first].astype(float)
    place = np.lexsort((from_m, line))
    return line[place], from_m[place], to_m[place], direction[place]


def _unknown(network: Network, covered: Ranges, flowing: Ranges) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Line, from and to of the stretches of the network (`flowing`) that no run covers."""
    used = np.zeros(len(network.lines), dtype=bool)
    used[flowing.line] = True
    open_ = uncovered(covered, network.lines, used)
    row, _, low, high = overlaps(
        network.lines, open_.line, open_.from_m, open_.to_m, flowing.line, flowing.from_m, flowing.to_m
    )
    real = high - low > 1e-6
    return open_.line[row[real]], low[real], high[real]


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
    real = high - low > 1e-6
    np.maximum.at(worst, row[real], code[run[real]])
    np.fmax.at(p, row[real], grades.p_reverse[run[real]])
    covered = np.zeros(len(pieces), dtype=bool)
    covered[row[real]] = True
    row, _, low, high = overlaps(
        network.lines, pieces.line, pieces.from_m, pieces.to_m,
        grades.unknown_line, grades.unknown_from_m, grades.unknown_to_m,
    )
    unknown = np.zeros(len(pieces), dtype=bool)
    unknown[row[high - low > 1e-6]] = True
    unknown |= ~covered | (network.direction == 0)
    worst = np.where(unknown, np.maximum(worst, CALL_ORDER.index("unknown")), worst)
    return PieceGrades(np.array(CALL_ORDER, dtype=object)[worst], p)
