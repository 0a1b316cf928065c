"""crossing-not-joined: two pipes drawn across each other without a joint."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Places, Severity, check

_RANK = {"outlet_pipe": 0, "main": 1, "submain": 2, None: 3, "lateral": 4}


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
    """One row a crossing, kept with the lesser pipe (lateral before main), of two alike with the one drawn later."""
    crossings = case.network.crossings
    role = case.drains.role[case.network.lines.drain]
    rank = np.array([_RANK.get(r, 3) for r in role.tolist()], dtype=np.int64)
    first, second = rank[crossings.line], rank[crossings.other]
    swap = (second > first) | ((second == first) & (crossings.other > crossings.line))
    line = np.where(swap, crossings.other, crossings.line)
    across = np.where(swap, crossings.line, crossings.other)
    at = np.where(swap, crossings.other_at_m, crossings.at_m)
    detail = np.array([f"crosses {name}" for name in case.name_of_line(across)], dtype=object)
    yield Places(line, at, crossings.xy, detail=detail)
