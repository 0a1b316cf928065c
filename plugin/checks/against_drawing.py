"""against-drawing: a pipe that carries water against the direction it was drawn in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import Severity, Stretches, check


@check(
    id="against-drawing",
    title="Used against the direction it was drawn in",
    remedy="Nothing to do: drawing direction is no evidence. Start and end figures are those of the drawn line.",
    false_alarm="Always harmless for the network; only start and end columns must not be read as up and down.",
    severity=Severity.NOTE,
    source="network of the drawn lines",
)
def against_drawing(case: Case) -> Iterator[Stretches]:
    """One row a stretch."""
    net = case.network
    rows = np.flatnonzero(net.direction < 0)
    yield Stretches(net.pieces.line[rows], net.pieces.from_m[rows], net.pieces.to_m[rows])
