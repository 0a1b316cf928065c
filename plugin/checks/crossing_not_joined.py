"""crossing-not-joined: two pipes drawn across each other without a joint."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Places, Severity, check


@check(
    id="crossing-not-joined",
    title="Pipes cross without a joint",
    remedy="Find out whether they join; keep a structure of kind joint here: evidence seen if they do, "
    "disproved if not.",
    false_alarm="A pipe across another at a different depth is no joint; say so once with evidence disproved.",
    severity=Severity.DOUBT,
    source="network of the drawn lines",
)
def crossing_not_joined(case: Case) -> Iterator[Places]:
    """One row a crossing, kept with the pipe that was drawn first."""
    crossings = case.network.crossings
    detail = np.array([f"crosses {name}" for name in case.name_of_line(crossings.other)], dtype=object)
    yield Places(crossings.line, crossings.at_m, crossings.xy, detail=detail)
