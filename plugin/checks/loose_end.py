"""loose-end: a pipe that reaches no outlet and ends in the open."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..network.loose_ends import find_loose_ends
from .case import Case
from .declare import Places, Severity, check


@check(
    id="loose-end",
    title="Pipe ends in the open and reaches no outlet",
    remedy="Probe from this end toward the pipe named; draw the missing pipe or move the end, or accept a joint there.",
    false_alarm="The pipe may be an old one that was cut off on purpose: set its status to abandoned.",
    severity=Severity.SERIOUS,
    source="network of the drawn lines",
    kind="length",
    worst="min",
    looks_far=True,
)
def loose_end(case: Case) -> Iterator[Places]:
    """Value: the gap to the nearest pipe the end could join."""
    ends = find_loose_ends(case.network, case.asked)
    toward = case.name_of_line(np.maximum(ends.toward, 0))
    detail = np.array(
        [
            f"{case.units.show_length(gap)} from {name}" if line >= 0 else "no other pipe near"
            for gap, name, line in zip(ends.gap_m, toward, ends.toward)
        ],
        dtype=object,
    )
    gap = np.where(ends.toward >= 0, ends.gap_m, np.nan)
    yield Places(ends.line, ends.at_m, ends.xy, value=gap, detail=detail)
