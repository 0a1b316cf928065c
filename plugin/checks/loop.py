"""loop: pipes that make a ring."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check


@check(
    id="loop",
    title="Pipes make a ring",
    remedy="Find out which of these joints is real; keep a structure of kind joint, evidence disproved, where none is.",
    false_alarm="Some mains were doubled on purpose; then inverts tell which way each part runs.",
    severity=Severity.DOUBT,
    source="network of the drawn lines",
)
def loop(case: Case) -> Iterator[Stretches]:
    """One row a drain of the ring, all named. Without inverts the ring counts as open both ways."""
    net = case.network
    rows = np.flatnonzero(net.flow.loop >= 0)
    ring = net.flow.loop[rows]
    names = net.drains.name[net.piece_drain[rows]]
    detail = np.empty(len(rows), dtype=object)
    for number in np.unique(ring):
        members = list(dict.fromkeys(names[ring == number].tolist()))
        detail[ring == number] = "ring of " + ", ".join(members)
    yield Stretches(net.pieces.line[rows], net.pieces.from_m[rows], net.pieces.to_m[rows], detail=detail)
