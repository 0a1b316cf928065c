"""What a comparison says in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..units import Units
from .change import Change, Moved, OutletSums
from .classes import ACTIONS, ASK, CLASSES, JOIN, KEEP, TAKE
from .judge import Comparison

if TYPE_CHECKING:
    from .accept import Accepted

TIE_IN_UNKNOWN = "tie-in: no level is known on one side"
_DONE = {TAKE: "can be taken", JOIN: "can be taken if a joint is accepted", KEEP: "the archive has already",
         ASK: "wait for a decision"}  # fmt: skip
_MOVES_TOLD = 5
_NO_OUTLETS = ("no outlet", "not drained", "not known")


def said_counts(compared: Comparison) -> str:
    """How many lines there are, and what is proposed for them."""
    count = len(compared.kind)
    parts = [
        f"{int((compared.action == action).sum()):,} {_DONE[action]}" for action in ACTIONS
        if action in _DONE and (compared.action == action).any()
    ]
    return f"{count:,} {'line' if count == 1 else 'lines'} of the layout: {', '.join(parts)}." if count else _EMPTY


_EMPTY = "The layout holds no line."


def said_classes(compared: Comparison) -> list[str]:
    """A sentence for each class that some line is of and somebody has to decide about, the worst first."""
    said = []
    for place, one in enumerate(CLASSES):
        rows = np.flatnonzero(compared.kind == place)
        if len(rows) and one.action in (ASK, JOIN):
            names = [str(name) for name in compared.layout.drains.name[rows[:4]]]
            more = f" and {len(rows) - 4:,} more" if len(rows) > 4 else ""
            said.append(f"{one.title}: {', '.join(names)}{more}.")
    return said


def said_change(change: Change, units: Units, what: str) -> list[str]:
    """What accepting does to pipe and land, in sentences; `what` is accepted."""
    added = units.show_length(abs(change.length_m))
    said = [f"Accepting {what} {'adds' if change.length_m >= 0 else 'takes away'} {added} of line."]
    for one in change.moved[:_MOVES_TOLD]:
        said.append(said_move(one, change, units) + ".")
    if len(change.moved) > _MOVES_TOLD:
        said.append(f"{len(change.moved) - _MOVES_TOLD:,} more changes are in OUTLET_CHANGES.")
    if not change.moved:
        said.append("No land changes its outlet.")
    return said


def said_move(one: Moved, change: Change, units: Units) -> str:
    """'2.00 acres change outlet from O1 to O2; O1: 5.00 to 3.00, O2: 4.00 to 6.00 acres'."""
    area = show_area(one.area_m2, units)
    sums = [said_sums(each, units) for each in change.outlets
            if each.key in (one.before, one.after) and each.key not in _NO_OUTLETS]
    about = f"; {', '.join(sums)} {units.area_name}" if sums else ""
    if one.before == "not drained":
        where = "but reach no outlet" if one.after == "no outlet" else f"and drain to {one.after_name}"
        return f"{area} without pipe now would get some {where}{about}"
    if one.after == "not drained":
        return f"{area} of {one.before_name} would have no pipe any more{about}"
    if one.after == "no outlet":
        return f"{area} of {one.before_name} would reach no outlet any more{about}"
    if one.before == "no outlet":
        return f"{area} that reach no outlet now go to {one.after_name}{about}"
    return f"{area} change outlet from {one.before_name} to {one.after_name}{about}"


def said_sums(one: OutletSums, units: Units) -> str:
    before, after = (value / units.area_m2 for value in (one.area_before_m2, one.area_after_m2))
    return f"{one.name}: {before:,.2f} to {after:,.2f}"


def show_area(area_m2: float, units: Units) -> str:
    return f"{area_m2 / units.area_m2:,.2f} {units.area_name}"


def said_accepted(accepted: Accepted) -> str:
    """'6 drains were added, 1 drain was redrawn. In the history they are the batch merge-...'."""
    parts = [
        f"{count:,} {one}{'' if count == 1 else 's'} {'was' if count == 1 else 'were'} {done}"
        for count, one, done in (
            (len(accepted.taken), "drain", "added"), (len(accepted.redrawn), "drain", "redrawn"),
            (accepted.joints, "joint", "kept"), (accepted.structures, "structure", "added"),
            (accepted.shots, "level shot", "added"),
        )
        if count
    ]
    return f"{', '.join(parts)}. In the history this is the batch {accepted.batch}."
