"""Stretches of pipe whose fall can be judged, with the fall and its standard error."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..network.lines import Lines
from .evidence import Evidence
from .grade import sigma_of_fall_m
from .ground_runs import fit_ranges
from .ranges import Ranges, cut


@dataclass(frozen=True)
class GradeRuns(Ranges):
    """Stretches with their fall in drawn direction, z(from) - z(to), its standard error, and its `Source`."""

    fall_m: np.ndarray
    sigma_m: np.ndarray
    source: np.ndarray

    @property
    def grade(self) -> np.ndarray:
        """Fall over length in drawn direction, a ratio."""
        return self.fall_m / self.length_m


def grade_runs(evidence: Evidence, cut_line: np.ndarray, cut_at_m: np.ndarray) -> GradeRuns:
    """All stretches whose fall can be judged; they do not overlap.

    Between neighbouring measured points of a line: one run each, with independent errors. Where a line has
    fewer than two, and beyond its first and last: the slope fitted to ground less depth, in runs as long
    as the evidence is the same, cut at (`cut_line`, `cut_at_m`), where structures stand. The rest is
    unknown (`uncovered`). Inverts of neighbouring drains are not borrowed.
    """
    parts = [_point_runs(evidence)]
    if evidence.ground is not None:
        # a piece under two steps has too few samples for a slope
        ranges = cut(_open_ranges(evidence), evidence.lines, cut_line, cut_at_m, 2.0 * evidence.ground.step_m)
        for fit in fit_ranges(evidence, ranges):
            source = evidence.depth_source[evidence.lines.drain[fit.line]]
            parts.append(GradeRuns(fit.line, fit.from_m, fit.to_m, fit.fall_m, fit.sigma_m, source))
    columns = {name.name: np.concatenate([getattr(part, name.name) for part in parts]) for name in fields(GradeRuns)}
    order = np.lexsort((columns["from_m"], columns["line"]))
    return GradeRuns(**{name: values[order] for name, values in columns.items()})


def uncovered(covered: Ranges, lines: Lines, active: np.ndarray) -> Ranges:
    """The stretches of the `active` lines (a mask) that no range covers; ranges do not overlap."""
    whole = np.flatnonzero(active)
    line = np.concatenate([covered.line, whole, whole])
    from_m = np.concatenate([covered.from_m, np.zeros(len(whole)), lines.length_m[whole]])
    to_m = np.concatenate([covered.to_m, np.zeros(len(whole)), lines.length_m[whole]])
    order = np.lexsort((to_m, from_m, line))  # each line is framed by ranges without length at its two ends
    line, from_m, to_m = line[order], from_m[order], to_m[order]
    gap = (line[1:] == line[:-1]) & (from_m[1:] - to_m[:-1] > 1e-6) & active[line[1:]]
    return Ranges(line[1:][gap], to_m[:-1][gap], from_m[1:][gap])


def _point_runs(evidence: Evidence) -> GradeRuns:
    points = evidence.points
    low = np.flatnonzero(points.line[1:] == points.line[:-1])
    high = low + 1
    return GradeRuns(
        points.line[low],
        points.at_m[low],
        points.at_m[high],
        points.z_m[low] - points.z_m[high],
        sigma_of_fall_m(points.sigma_m[low], points.sigma_m[high]),
        np.maximum(points.source[low], points.source[high]),
    )


def _open_ranges(evidence: Evidence) -> Ranges:
    """Where the ground has to tell: lines with fewer than two points, and beyond the outer points of the others."""
    points, lines = evidence.points, evidence.lines
    sampled = np.diff(evidence.ground.first) > 0
    several = points.count >= 2
    whole, partly = np.flatnonzero(sampled & ~several), np.flatnonzero(sampled & several)
    line = np.concatenate([whole, partly, partly])
    from_m = np.concatenate([np.zeros(len(whole) + len(partly)), points.at_m[points.first[partly + 1] - 1]])
    to_m = np.concatenate([lines.length_m[whole], points.at_m[points.first[partly]], lines.length_m[partly]])
    order = np.lexsort((from_m, line))
    ranges = Ranges(line[order], from_m[order], to_m[order])
    return ranges.only(ranges.length_m > evidence.limits["same_place"])
