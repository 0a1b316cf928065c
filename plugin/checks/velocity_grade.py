"""What flat-grade and steep-grade share: runs against the grade of a full-flow velocity."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from ..elevation.grade import FALLS, p_reverse
from ..hydraulics.manning import roughness
from .case import Case
from .declare import CANNOT_TELL, FOUND, NotChecked, Severity, Stretches
from .merging import merge_runs
from .reasons import no_fall, no_size

GradeLimit = Callable[[np.ndarray, np.ndarray, object], np.ndarray]


def judge_against(case: Case, limit_of: GradeLimit, too_flat: bool) -> Iterator[Stretches | NotChecked]:
    """Runs surely (call found) or perhaps (cannot_tell) beyond a grade, among those that surely fall.

    A run whose fall is itself in doubt is left to reverse-grade.
    """
    grades, drains = case.county.grades, case.drains
    drain = case.network.lines.drain[grades.line]
    n = roughness(drains.material[drain], drains.diameter_m[drain], case.limits)
    limit = limit_of(drains.diameter_m[drain], n, case.limits)
    excess = (grades.grade - limit) * (grades.to_m - grades.from_m) * (1.0 if too_flat else -1.0)
    beyond = p_reverse(excess, grades.sigma_m)
    falls = grades.call == FALLS
    for call, wanted, severity in (
        (FOUND, beyond >= case.limits["p_reverse"], None),
        (CANNOT_TELL, (beyond < case.limits["p_reverse"]) & (beyond > case.limits["p_falls"]), Severity.NOTE),
    ):
        rows = np.flatnonzero(falls & wanted)
        runs = merge_runs(grades, rows, beyond[rows])
        own = case.network.lines.drain[runs.line]
        own_n = roughness(drains.material[own], drains.diameter_m[own], case.limits)
        yield Stretches(
            runs.line, runs.from_m, runs.to_m, value=runs.least_grade if too_flat else runs.greatest_grade,
            limit=limit_of(drains.diameter_m[own], own_n, case.limits), probability=runs.probability, call=call,
            severity=severity,
        )
    yield no_size(case, drain[falls])
    yield from no_fall(case)
