"""bad-geometry: lines that could not be taken as they were drawn."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

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
    """Left out: no geometry, no length, a coordinate that is no number. Used all the same: parts, self-crossings."""
    net, lines = case.network, case.network.lines
    out = [fault for fault in net.unusable if not fault.used]
    detail = np.array([f"{f.why}; left out" for f in out], dtype=object)
    nowhere, none = np.full((len(out), 2), np.nan), np.full(len(out), -1)
    drain = np.array([f.drain for f in out], dtype=np.int64)
    yield Places(none, nowhere[:, 0], nowhere, severity=Severity.SERIOUS, detail=detail, drain=drain)
    used = {fault.drain: fault.why for fault in net.unusable if fault.used}
    line = np.flatnonzero(np.isin(lines.drain, list(used)))
    detail = np.array([used[d] for d in lines.drain[line].tolist()], dtype=object)
    yield Stretches(line, np.zeros(len(line)), lines.length_m[line], severity=Severity.NOTE, detail=detail)
    crossed = np.flatnonzero(~shapely.is_simple(lines.geometry))
    zero = np.zeros(len(crossed))
    yield Stretches(crossed, zero, lines.length_m[crossed], detail="crosses itself; used as drawn")
    keyless = np.flatnonzero(net.drains.id_missing[lines.drain])
    zero = np.zeros(len(keyless))
    detail = "has no key; called by its row"
    yield Stretches(keyless, zero, lines.length_m[keyless], severity=Severity.NOTE, detail=detail)
