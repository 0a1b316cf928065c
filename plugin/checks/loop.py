"""loop: pipes that make a ring."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check

_MOST_NAMES = 12


@check(
    id="loop",
    title="Pipes make a ring",
    remedy="Find out which of these joints is real; keep a structure of kind joint, evidence disproved, where none is.",
    false_alarm="Some mains were doubled on purpose; then inverts tell which way each part runs.",
    severity=Severity.DOUBT,
    source="network of the drawn lines",
)
def loop(case: Case) -> Iterator[Stretches]:
    """One row a drain of the ring, each with the names of all. Without inverts the ring counts as open both ways."""
    net = case.network
    rows = np.flatnonzero(net.flow.loop >= 0)
    rows = rows[np.argsort(net.flow.loop[rows], kind="stable")]
    first = np.flatnonzero(np.diff(net.flow.loop[rows], prepend=-1))
    names = np.split(case.name_of_line(net.pieces.line[rows]), first[1:])
    counts = np.diff(first, append=len(rows))
    detail = np.repeat(np.array([_ring(of_ring) for of_ring in names[: len(first)]], dtype=object), counts)
    yield Stretches(net.pieces.line[rows], net.pieces.from_m[rows], net.pieces.to_m[rows], detail=detail)


def _ring(names: np.ndarray) -> str:
    members = list(dict.fromkeys(names.tolist()))
    more = len(members) - _MOST_NAMES
    return "ring of " + ", ".join(members[:_MOST_NAMES]) + (f" and {more:,} more" if more > 0 else "")
