"""Check of a new pipe's ends against the pipes they tie in to, where its inverts are not simply theirs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..checks.declare import CANNOT_TELL, FOUND, NotChecked, Severity, Stretches, check
from ..elevation.grade import p_reverse
from .ends import LOOSE
from .fall_checks import END_SHOWN_M
from .words import place_name

if TYPE_CHECKING:
    from ..limits import Limits
    from .judge import Reroute
    from .tie_ins import TieIn


class Step(NamedTuple):
    """A drop of `drop_m` from the higher pipe to the lower one at an end, in the direction the water takes.

    Negative: the water has to climb by that much. `p_climbs`: chance that it has to.
    """

    tie: TieIn
    is_lower: bool
    drop_m: float
    p_climbs: float

    def call(self, limits: Limits) -> str | None:
        """FOUND where the water has to climb, CANNOT_TELL where it seems so within the errors, else None."""
        if not self.drop_m < 0.0:
            return None
        return FOUND if self.p_climbs >= limits["p_reverse"] else CANNOT_TELL


def steps(reroute: Reroute) -> tuple[Step, ...]:
    """At the ends with an invert of their own, on something whose invert is known."""
    found = []
    for tie, sign in ((reroute.lower, 1.0), (reroute.upper, -1.0)):
        if tie.is_own and np.isfinite(tie.there_m):
            drop_m = sign * (tie.z_m - tie.there_m)
            found.append(Step(tie, sign > 0.0, drop_m, float(p_reverse(drop_m, np.hypot(tie.sigma_m,
                                                                                        tie.there_sigma_m)))))
    return tuple(found)


def climbs(reroute: Reroute) -> str:
    """The ends at which water would have to climb, and by how much, in words; empty where it has not to."""
    said = []
    for step in steps(reroute):
        call = step.call(reroute.case.limits)
        if call is not None:
            which = "lower end too low" if step.is_lower else "upper end too high"
            doubt = " (cannot tell)" if call == CANNOT_TELL else ""
            said.append(f"{which} by {reroute.county.units.show_length(-step.drop_m, 3)}{doubt}")
    return "; ".join(said)


@check(
    id="tie-in-step",
    title="Water would have to climb where the new pipe ties in",
    remedy="Raise the lower end, or lower the upper one, to the invert of the pipe there; or tie in where that pipe "
           "lies lower, or higher.",
    false_alarm="Inverts from two datums, or an old pipe whose invert was only guessed: open the tie-in and shoot it.",
    severity=Severity.SERIOUS,
    source="the invert given or worked out against that of the pipe at the tie-in, with normal errors",
    kind="length",
    limits=("p_reverse",),
    worst="min",
)
def tie_in_step(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: the drop from pipe to pipe, negative where the water has to climb.

    Only a climb that is expected is listed: at the joint both pipes are seen before they are connected.
    """
    units, length_m = reroute.county.units, reroute.verdict.length_m
    shown_m = min(END_SHOWN_M, length_m)
    for step in steps(reroute):
        call = step.call(reroute.case.limits)
        if call is None:
            continue
        from_m = 0.0 if step.is_lower else length_m - shown_m
        yield Stretches(
            np.array([reroute.line]), np.array([from_m]), np.array([from_m + shown_m]), value=step.drop_m, limit=0.0,
            probability=step.p_climbs, call=call,
            severity=Severity.SERIOUS if call == FOUND else Severity.DOUBT, detail=_climb_words(reroute, step, units),
        )
    for tie, which in ((reroute.lower, "lower"), (reroute.upper, "upper")):
        if tie.is_own and np.isnan(tie.there_m) and tie.end.kind != LOOSE:
            yield NotChecked(f"The invert of {place_name(reroute, tie)}, at the {which} end, is not known: shoot it.")


def _climb_words(reroute: Reroute, step: Step, units) -> str:
    climb = units.show_length(-step.drop_m, 3)
    place = place_name(reroute, step.tie)
    where = f"the lower end lies {climb} below" if step.is_lower else f"the upper end lies {climb} above"
    stands = "the new pipe" if step.is_lower else "the old pipe above it"
    doubt = "" if step.call(reroute.case.limits) == FOUND else "; the errors are too large to be sure"
    return f"{where} the invert of {place}, so water would stand in {stands}{doubt}"
