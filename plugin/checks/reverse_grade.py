"""reverse-grade: a pipe that rises downstream, or may."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..elevation.grade import what_settles
from ..elevation.sources import SOURCE_WORDS, Source
from .case import Case
from .declare import CANNOT_TELL, REVERSE, NotChecked, Severity, Stretches, check
from .merging import merge_runs
from .reasons import no_fall


@check(
    id="reverse-grade",
    title="Pipe rises downstream, or it cannot be told that it falls",
    remedy="Shoot the inverts at both ends of the stretch with a level; where the pipe does rise, relay it on grade.",
    false_alarm="Inverts from two datums, a start and end typed in the wrong order, or depths that were only guessed.",
    severity=Severity.SERIOUS,
    source="normal errors of the inverts: P(reverse) = Φ(-fall / its standard error)",
    kind="grade",
    limits=("p_reverse", "p_falls"),
    worst="min",
)
def reverse_grade(case: Case) -> Iterator[Stretches | NotChecked]:
    """Call reverse or cannot_tell; value: the least grade in the stretch, negative where the pipe rises downstream.

    Pipe on which the inverts contradict the only outlet is left to elevation-contradicts-outlet.
    """
    grades = case.county.grades
    own = ~np.isin(grades.line, case.contradicted_lines)
    for call, severity in ((REVERSE, Severity.SERIOUS), (CANNOT_TELL, Severity.DOUBT)):
        rows = np.flatnonzero((grades.call == call) & own)
        runs = merge_runs(grades, rows, grades.p_reverse[rows])
        told_by = [SOURCE_WORDS[Source(s)] for s in runs.source.tolist()]
        if call == CANNOT_TELL:
            clauses = [what_settles(fall, case.limits, case.units) for fall in runs.fall_m.tolist()]
        else:
            rises = [case.units.show_length(-fall, 3) for fall in runs.fall_m.tolist()]
            clauses = [f"it rises {rise} downstream over the stretch" for rise in rises]
        detail = [f"by {source}: {clause}" for source, clause in zip(told_by, clauses)]
        yield Stretches(
            runs.line, runs.from_m, runs.to_m, value=runs.least_grade, limit=0.0, probability=runs.probability,
            call=call, severity=severity, detail=np.array(detail, dtype=object),
        )
    yield from no_fall(case)
