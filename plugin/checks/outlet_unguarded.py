"""outlet-unguarded: an outlet without animal guard, or without a rigid solid end."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..units import INCH_M
from .case import Case
from .declare import CANNOT_TELL, FOUND, NotChecked, Places, Severity, check
from .outlets import OutletPipes, outlet_pipes

_NO_GUARD = ("false", "0", "no")
_FLEXIBLE = ("corrugated_plastic",)
_LENGTH_BY_SIZE = (
    (8, "outlet_pipe_length_8in"), (12, "outlet_pipe_length_12in"), (18, "outlet_pipe_length_18in"),
)


@check(
    id="outlet-unguarded",
    title="Outlet has no animal guard, or no rigid solid pipe at its end",
    remedy="Fit a flap or hinged guard; end the drain with a rigid pipe without openings of at least the length given.",
    false_alarm="A guard may be there and not be recorded; where surface water brings trash a fixed guard is wrong.",
    severity=Severity.DOUBT,
    source="guard and last pipe of the outlet",
    kind="length",
    limits=(
        "outlet_pipe_length_8in", "outlet_pipe_length_12in", "outlet_pipe_length_18in", "outlet_pipe_length_larger",
    ),
    worst="min",
)
def outlet_unguarded(case: Case) -> Iterator[Places | NotChecked]:
    """One row for a missing guard (no value); one for an end that is not rigid and solid (value: its length)."""
    found = outlet_pipes(case)
    marked = np.flatnonzero(found.structure >= 0)
    guard = case.network.structures.guard[found.structure[marked]] if len(marked) else np.zeros(0, dtype=object)
    bare = marked[np.isin(np.char.lower(guard.astype(str)), _NO_GUARD)]
    yield Places(found.line[bare], found.at_m[bare], found.xy_m[bare], detail="no animal guard")
    yield _ends(case, found)
    unknown = np.setdiff1d(np.arange(len(found.line)), marked[~np.equal(guard, None)])
    why = "Nobody recorded whether the outlet has an animal guard: look, and enter it with the outlet."
    yield NotChecked(why, case.network.lines.drain[found.line[unknown]])


def _ends(case: Case, found: OutletPipes) -> Places:
    """Outlets whose last drain is not rigid and solid over the length its size asks for."""
    net = case.network
    drain = net.lines.drain[found.line]
    diameter = net.drains.diameter_m[drain]
    needed = np.full(len(drain), case.limits["outlet_pipe_length_larger"])
    for size_in, name in reversed(_LENGTH_BY_SIZE):
        needed = np.where(diameter <= size_in * INCH_M + 1e-5, case.limits[name], needed)
    needed = np.where(np.isnan(diameter), case.limits["outlet_pipe_length_8in"], needed)
    openings, material = net.drains.openings[drain], net.drains.material[drain]
    unknown = np.equal(openings, None) | np.equal(material, None)
    solid = (openings == "none") & ~np.isin(material.astype(str), _FLEXIBLE)
    length = np.where(solid, net.lines.length_m[found.line], 0.0)
    short = np.flatnonzero(length < needed - 1e-6)
    length = np.where(unknown, np.nan, length)
    call = np.where(unknown[short], CANNOT_TELL, FOUND).astype(object)
    doubt = "nobody recorded whether the end is rigid solid pipe"
    words = np.where(unknown[short], doubt, "end is not rigid solid pipe")
    severity = np.where(unknown[short], Severity.NOTE.value, Severity.DOUBT.value).astype(object)
    return Places(found.line[short], found.at_m[short], found.xy_m[short], value=length[short], limit=needed[short],
                  call=call, severity=severity, detail=words.astype(object))
