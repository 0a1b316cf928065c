"""under-lot: pipe below a building lot."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from ..network.inside import cover_once, stretches_inside
from .case import Case
from .declare import NotChecked, Severity, Stretches, check


@check(
    id="under-lot",
    title="Pipe passes under a lot that is no farm land",
    remedy="Ask its owner before digging; when relaying lead the pipe around the lot or make it solid there.",
    false_alarm="The lot's outline may be drawn too large.",
    severity=Severity.NOTE,
    source="land of use lot",
    kind="length",
    worst="max",
)
def under_lot(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: length of pipe under the lot."""
    if case.land is None:
        yield NotChecked("No land was given: choose LAND with fields and lots.")
        return
    net, land = case.network, case.land
    lots = np.flatnonzero(land.use == "lot")
    used = np.unique(net.pieces.line)
    tree = shapely.STRtree(net.lines.geometry[used])
    lot, hit = tree.query(land.geometry[lots], predicate="intersects")
    row, from_m, to_m = stretches_inside(net.lines, used[hit], land.geometry[lots[lot]])
    pair = used[hit[row]] * max(len(lots), 1) + lot[row]  # parts of one lot that touch are one stretch
    pair, from_m, to_m, *_ = cover_once(pair, from_m, to_m)
    line, lot = np.divmod(pair, max(len(lots), 1))
    detail = np.array([f"under {name}" for name in land.name[lots[lot]]], dtype=object)
    yield Stretches(line, from_m, to_m, value=to_m - from_m, detail=detail)
