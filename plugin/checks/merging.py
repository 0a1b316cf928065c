"""Neighbouring grade runs with the same call made one, so that one run of one call is one row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..network.grades import Grades
from ..network.ranges import first_of_groups, merge_neighbours


@dataclass(frozen=True)
class Merged:
    """Stretches: fall over the whole, worst grade in it, least and largest probability of its runs."""

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    fall_m: np.ndarray
    least_grade: np.ndarray
    greatest_grade: np.ndarray
    probability: np.ndarray
    source: np.ndarray

    def __len__(self) -> int:
        return len(self.line)


def merge_runs(grades: Grades, rows: np.ndarray, probability: np.ndarray) -> Merged:
    """Merge the runs `rows` (all of one call) that follow one another; `probability` goes by row."""
    line, from_m, to_m = grades.line[rows], grades.from_m[rows], grades.to_m[rows]
    order, group = merge_neighbours(line, from_m, to_m, np.zeros(len(rows), dtype=np.int64), touch_m=1e-3)
    first = first_of_groups(group)
    if not len(first):
        empty = np.zeros(0)
        return Merged(line, from_m, to_m, empty, empty, empty, empty, grades.source[rows])
    grade = grades.grade[rows][order]
    return Merged(
        line[order][first],
        from_m[order][first],
        np.maximum.reduceat(to_m[order], first),
        np.add.reduceat(grades.fall_m[rows][order], first),
        np.minimum.reduceat(grade, first),
        np.maximum.reduceat(grade, first),
        np.fmax.reduceat(probability[order], first),
        np.maximum.reduceat(grades.source[rows][order], first),
    )
