"""bad-geometry: lines that could not be taken as they were drawn."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from ..network.lines import Unusable
from .case import Case
from .declare import Places, Severity, Stretches, check


@check(
    id="bad-geometry",
    title="Line could not be taken as it is drawn",
    remedy="Redraw the line as one part without loops, with a key; until then it is used as the detail says.",
    false_alarm="A drain drawn in several parts on purpose works; its parts follow one another.",
    severity=Severity.DOUBT,
    source="OGC Simple Features: a line has two different points and does not cross itself",
)
def bad_geometry(case: Case) -> Iterator[Stretches | Places]:
    """Left out: no geometry, no length, a coordinate that is no number. Used all the same: parts, self-crossings.

    Pipe in the ground only: no other pipe is used in any case.
    """
    net, lines = case.network, case.network.lines
    in_ground = net.drains.in_ground
    faults = [fault for fault in net.unusable if in_ground[fault.drain]]
    yield _left_out([fault for fault in faults if not fault.used])
    used: dict[int, list[str]] = {}
    for fault in faults:
        if fault.used:
            used.setdefault(fault.drain, []).append(fault.why)
    line = np.flatnonzero(np.isin(lines.drain, list(used)))
    detail = np.array(["; ".join(used[drain]) for drain in lines.drain[line].tolist()], dtype=object)
    yield _whole(case, line, detail, Severity.NOTE)
    mine = np.flatnonzero(in_ground[lines.drain])
    yield _whole(case, mine[~shapely.is_simple(lines.geometry[mine])], "crosses itself; used as drawn", Severity.DOUBT)
    keyless = mine[net.drains.id_missing[lines.drain[mine]]]
    yield _whole(case, keyless, "has no key; called by its row", Severity.NOTE)


def _left_out(faults: list[Unusable]) -> Places:
    """Drains without any usable geometry belong to no place."""
    none, nowhere = np.full(len(faults), -1), np.full(len(faults), np.nan)
    return Places(
        none, nowhere, np.column_stack([nowhere, nowhere]), severity=Severity.SERIOUS,
        detail=np.array([f"{fault.why}; left out" for fault in faults], dtype=object),
        drain=np.array([fault.drain for fault in faults], dtype=np.int64),
    )


def _whole(case: Case, line: np.ndarray, detail: np.ndarray | str, severity: Severity) -> Stretches:
    return Stretches(line, np.zeros(len(line)), case.network.lines.length_m[line], severity=severity, detail=detail)
