"""past-outlet: pipe drawn on through an outlet."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check


@check(
    id="past-outlet",
    title="Pipe is drawn on past its outlet",
    remedy="End the line at the outlet, or move the outlet to the end of the pipe.",
    false_alarm="The outlet may be marked at the road or field edge while the pipe runs on to the ditch.",
    severity=Severity.NOTE,
    source="network of the drawn lines",
    kind="length",
    worst="max",
)
def past_outlet(case: Case) -> Iterator[Stretches]:
    """Value: length of the part beyond; it carries nothing and is not summed."""
    past = case.network.past_outlet
    structure = dict(zip(case.network.outlets.node.tolist(), case.network.outlets.structure.tolist()))
    names = case.network.structures.name
    detail = np.array([f"beyond outlet {names[structure[n]]}" for n in past.node.tolist()], dtype=object)
    yield Stretches(past.line, past.from_m, past.to_m, value=past.to_m - past.from_m, detail=detail)
