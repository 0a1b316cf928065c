"""unknown-elevation: pipe of which nobody knows how high it lies."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import UNKNOWN, Places, Severity, Stretches, check


@check(
    id="unknown-elevation",
    title="Nobody knows how high the pipe lies here",
    remedy="Shoot an invert at both ends with a level, or give a ground raster and depths.",
    false_alarm="Heights may stand in another column or in the drawn line; say how the line was located.",
    severity=Severity.DOUBT,
    source="inverts, shots, depths and ground of this run",
)
def unknown_elevation(case: Case) -> Iterator[Stretches | Places]:
    """One row a stretch without any elevation, and one where the ground cannot belong to the inverts."""
    grades = case.county.grades
    yield Stretches(grades.unknown_line, grades.unknown_from_m, grades.unknown_to_m, call=UNKNOWN)
    if case.ground_fault:
        middle = case.network.nodes.xy.mean(axis=0)[None]
        none, fault = np.array([-1]), case.ground_fault
        yield Places(none, np.array([np.nan]), middle, call=UNKNOWN, severity=Severity.SERIOUS, detail=fault)
