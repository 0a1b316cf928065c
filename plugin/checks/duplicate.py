"""duplicate: the same pipe drawn twice, or one key used twice."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check


@check(
    id="duplicate",
    title="Drawn twice, or its key is used twice",
    remedy="Keep the better of the two lines and set the other to removed; give every drain a key of its own.",
    false_alarm="A new pipe laid beside an old one: set the old one to abandoned, or make the join tolerance smaller.",
    severity=Severity.DOUBT,
    source="network of the drawn lines",
    kind="ratio",
    worst="max",
)
def duplicate(case: Case) -> Iterator[Stretches]:
    """Value: share of the length that lies on the other line. The line named here carries nothing."""
    net, lines = case.network, case.network.lines
    twice = net.duplicates
    detail = np.array([f"lies on {name}; carries nothing" for name in case.name_of_line(twice.of)], dtype=object)
    zero = np.zeros(len(twice.line))
    yield Stretches(twice.line, zero, lines.length_m[twice.line], value=twice.share, limit=0.5, detail=detail)
    key = net.drains.drain_id.astype(str)
    _, inverse, count = np.unique(key, return_inverse=True, return_counts=True)
    line = np.flatnonzero(count[inverse][lines.drain] > 1)
    detail = np.array([f"the key {k} is used by {c} lines" for k, c in zip(key[lines.drain[line]],
                       count[inverse][lines.drain[line]])], dtype=object)
    yield Stretches(line, np.zeros(len(line)), lines.length_m[line], detail=detail)
