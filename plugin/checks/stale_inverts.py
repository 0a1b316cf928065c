"""stale-inverts: an end was moved, turned or cut, and its invert stayed as it was."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas

from .case import Case
from .declare import NotChecked, Places, Severity, check
from .edits import GivenInvert

_SAME_M = 1e-6  # inverts are compared after they went through units

_NO_HISTORY = (
    "These pipes lie in no archive in a file that keeps a history of edits: nobody knows whether an end was moved "
    "after its invert was given. Take them into an archive."
)
_UNKNOWN_BEFORE = (
    "The history begins after this pipe was drawn, or has a gap since: whether its ends were moved before is not "
    "known. Compare its inverts with the place they were taken at."
)


@check(
    id="stale-inverts",
    title="An end was moved, turned or cut without its invert",
    remedy="Give the invert of that end anew, or empty it; where the line was turned swap the inverts of its ends.",
    false_alarm="The line was moved to where the pipe, and the invert that was shot there, always was.",
    severity=Severity.DOUBT,
    source="history of the archive; moves shorter than the join tolerance do not count",
    kind="length",
    worst="max",
)
def stale_inverts(case: Case) -> Iterator[Places | NotChecked]:
    """Value: how far the end lies now from where it lay when its invert was given."""
    if case.edits is None:
        yield NotChecked(_NO_HISTORY)
        return
    drains = case.drains
    has_invert = drains.in_ground & ~(np.isnan(drains.invert_start_m) & np.isnan(drains.invert_end_m))
    known = pandas.Series(drains.drain_id).isin(case.edits.known).to_numpy()
    rows = [row for row in _rows(case) if row is not None]
    line = np.array([row[0] for row in rows], dtype=np.int64)
    unknown = has_invert & ~known
    unknown[case.network.lines.drain[line]] = False
    yield NotChecked(_UNKNOWN_BEFORE, np.flatnonzero(unknown))
    yield Places(
        line, np.array([row[1] for row in rows], dtype=float), np.array([row[2] for row in rows]).reshape(-1, 2),
        value=np.array([row[3] for row in rows], dtype=float), limit=case.network.tolerance_m,
        detail=np.array([row[4] for row in rows], dtype=object),
    )


def _rows(case: Case) -> Iterator[tuple[int, float, np.ndarray, float, str] | None]:
    """Line, place along it, place, distance and words of every end that moved; None where it did not after all."""
    lines, moved = case.network.lines, case.edits.moved
    wanted = {one.drain_id for one in moved}
    drain = np.flatnonzero(pandas.Series(case.drains.drain_id).isin(wanted).to_numpy())
    line = np.flatnonzero(np.isin(lines.drain, drain[case.drains.in_ground[drain]]))
    of_drain: dict[str, list[int]] = {}
    for one in line[np.lexsort((lines.station0_m[line], lines.drain[line]))].tolist():
        of_drain.setdefault(case.drains.drain_id[lines.drain[one]], []).append(one)
    for end in moved:
        if end.drain_id in of_drain:
            yield _row(case, end, of_drain[end.drain_id])


def _row(case: Case, end: GivenInvert, own: list[int]) -> tuple[int, float, np.ndarray, float, str] | None:
    lines, drains = case.network.lines, case.drains
    first, last = own[0], own[-1]
    start, stop = lines.xy[lines.first[first]], lines.xy[lines.first[last + 1] - 1]
    here, there, line = (stop, start, last) if end.at_end else (start, stop, first)
    invert_m = (drains.invert_end_m if end.at_end else drains.invert_start_m)[lines.drain[line]]
    moved_m = float(np.hypot(*(here - end.xy_m)))
    near = case.network.tolerance_m
    if moved_m <= near or not abs(invert_m - end.invert_m) <= _SAME_M:
        return None
    turned = np.hypot(*(here - end.other_xy_m)) <= near and np.hypot(*(there - end.xy_m)) <= near
    how = "the line was turned" if turned else ("cut from another line" if end.split else "moved")
    by = f" by {end.who}" if end.who else ""
    which = "end" if end.at_end else "start"
    units = case.units
    words = f"{which} of the line: {how} on {end.when}{by}, invert still {units.show_length(invert_m, 2)}"
    return line, float(lines.length_m[line]) if end.at_end else 0.0, here, moved_m, words
