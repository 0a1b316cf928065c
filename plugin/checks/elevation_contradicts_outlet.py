"""elevation-contradicts-outlet: the only outlet of a system lies at the high end of its main."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check


@check(
    id="elevation-contradicts-outlet",
    title="Inverts say that the water cannot run to the only outlet",
    remedy="Check which of the inverts and the outlet is wrong: shoot the outlet and the far end again, same datum.",
    false_alarm="Start and end inverts typed in the wrong order, or heights from two different datums.",
    severity=Severity.SERIOUS,
    source="inverts against the outlet of the system",
    kind="length",
    limits=("p_reverse",),
    worst="max",
)
def elevation_contradicts_outlet(case: Case) -> Iterator[Stretches]:
    """Value: how far the far end of the main lies below the outlet; one row a drain on the way."""
    found = case.county.contradicted
    zero = np.zeros(len(found.line))
    yield Stretches(
        found.line, zero, case.network.lines.length_m[found.line], value=found.rise_m, probability=found.probability,
        limit=0.0,
    )
