"""no-outlet: a pipe from which no outlet can be reached."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Places, Severity, Stretches, check


@check(
    id="no-outlet",
    title="No outlet can be reached from this pipe",
    remedy="Accept the proposed joints or draw the missing pipe; mark the outlet with a structure of kind outlet.",
    false_alarm="The outlet may exist but lie outside the layer, the selection or the filter.",
    severity=Severity.SERIOUS,
    source="network of the drawn lines",
)
def no_outlet(case: Case) -> Iterator[Stretches | Places]:
    """One row a drain, a doubt where only proposed joints are missing; and one for each outlet that lies on no pipe."""
    net = case.network
    lacking = ~net.has_outlet
    waiting = np.isin(net.piece_drain[lacking], net.drains_waiting)
    detail = np.where(waiting, "would reach one with the proposed joints", "").astype(object)
    severity = np.where(waiting, Severity.DOUBT.value, Severity.SERIOUS.value).astype(object)
    pieces = net.pieces.where(lacking)
    yield Stretches(pieces.line, pieces.from_m, pieces.to_m, severity=severity, detail=detail)
    rows = net.off_pipe_outlets
    none = np.full(len(rows), -1)
    detail = np.array([f"outlet {name} lies on no pipe" for name in net.structures.name[rows]], dtype=object)
    yield Places(
        none, np.full(len(rows), np.nan), net.structures.xy_m[rows], severity=Severity.DOUBT, detail=detail,
        structure=rows,
    )
