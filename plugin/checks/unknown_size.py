"""unknown-size: pipe whose inside diameter is not recorded."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check


@check(
    id="unknown-size",
    title="Nobody knows the inside diameter",
    remedy="Measure it at the outlet or at the next opening, and enter it.",
    false_alarm="The size may stand in another column.",
    severity=Severity.NOTE,
    source="inside diameter of the drain",
)
def unknown_size(case: Case) -> Iterator[Stretches]:
    """One row a drain."""
    net = case.network
    rows = np.flatnonzero(np.isnan(net.drains.diameter_m[net.piece_drain]))
    yield Stretches(net.pieces.line[rows], net.pieces.from_m[rows], net.pieces.to_m[rows])
