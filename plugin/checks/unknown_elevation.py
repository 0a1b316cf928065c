"""unknown-elevation: pipe of which nobody knows how high it lies."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..elevation.sources import SOURCE_WORDS, Source
from .case import Case
from .declare import CANNOT_TELL, UNKNOWN, Places, Severity, Stretches, check


@check(
    id="unknown-elevation",
    title="How high the pipe lies is not known, or its figures disagree",
    remedy="Shoot an invert at both ends with a level, or give a ground raster and depths; where figures disagree, "
    "shoot that place again.",
    false_alarm="Heights may stand in another column or in the drawn line; say how the line was located.",
    severity=Severity.DOUBT,
    source="inverts, shots, depths and ground of this run",
    kind="length",
    limits=("misfit_errors",),
    worst="max",
)
def unknown_elevation(case: Case) -> Iterator[Stretches | Places]:
    """Stretches with fewer than two inverts and no ground (call unknown), without a value.

    Places where two inverts disagree (call cannot_tell; value: by how much, limit: what their errors allow); level
    shots that give no invert; and one row where the ground cannot belong to the inverts.
    """
    grades = case.county.grades
    yield Stretches(grades.unknown_line, grades.unknown_from_m, grades.unknown_to_m, call=UNKNOWN)
    yield _disagreeing(case)
    yield _unused_shots(case)
    if case.ground_fault:
        middle = case.network.lines.xy.mean(axis=0)[None]
        none, fault = np.array([-1]), case.ground_fault
        yield Places(none, np.array([np.nan]), middle, call=UNKNOWN, severity=Severity.SERIOUS, detail=fault)


def _disagreeing(case: Case) -> Places:
    """Two inverts for one place of a pipe in the network."""
    net, found = case.network, case.network.levels.points.disagreements
    rows = np.flatnonzero(net.active[found.line])
    line, at_m, other_less_kept_m = found.line[rows], found.at_m[rows], found.difference_m[rows]
    detail = [
        f"{SOURCE_WORDS[Source(other)]} lies {case.units.show_length(abs(by), 2)} {'above' if by > 0 else 'below'} the "
        f"{SOURCE_WORDS[Source(kept)]}, which was used"
        for other, kept, by in zip(
            found.other_source[rows].tolist(), found.kept_source[rows].tolist(), other_less_kept_m.tolist()
        )
    ]
    return Places(
        line, at_m, net.lines.points_at(line, at_m), value=np.abs(other_less_kept_m), limit=found.allowed_m[rows],
        call=CANNOT_TELL, detail=np.array(detail, dtype=object),
    )


def _unused_shots(case: Case) -> Places:
    """Shots of inverts and pipe tops that give no invert."""
    shots, unused = case.network.shots, case.network.levels.points.unused_shots
    row = np.array([fault.shot for fault in unused], dtype=np.int64)
    none = np.full(len(row), -1)
    detail = [f"level shot {key} is not used: {fault.why}" for key, fault in zip(shots.shot_id[row], unused)]
    return Places(
        none, np.full(len(row), np.nan), shots.xy_m[row], call=UNKNOWN, detail=np.array(detail, dtype=object), shot=row
    )
