"""proposed-joint: an end that stops just short of a pipe, or runs just past it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..network.joints import end_at_m, end_xy
from .case import Case
from .declare import Places, Severity, check


@check(
    id="proposed-joint",
    title="End nearly meets a pipe: joint proposed, not made",
    remedy="Find out whether they join. If they do, put a structure of kind joint here, evidence seen or drawn; "
           "if not, one of evidence disproved. ACCEPT_PROPOSED takes all of them as joined for one run.",
    false_alarm="Two pipes may pass close by each other at different depths without joining.",
    severity=Severity.DOUBT,
    source="join tolerance of this run",
    kind="length",
)
def proposed_joint(case: Case) -> Iterator[Places]:
    """Value: the gap; limit: the join tolerance. Joints that are in force are not listed."""
    net = case.network
    waiting = net.proposed.where(~net.applied)
    to = case.name_of_line(waiting.other)
    detail = np.array([f"gap {case.units.show_length(g)} to {n}" for g, n in zip(waiting.gap_m, to)], dtype=object)
    yield Places(
        waiting.line, end_at_m(net.lines)[waiting.end], end_xy(net.lines)[waiting.end],
        value=waiting.gap_m, limit=net.tolerance_m, detail=detail,
    )
