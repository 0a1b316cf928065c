"""The first sentences of a page: what matters most, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence

from ..checks.declare import CANNOT_TELL, REVERSE, Severity
from .calls import FALLS
from .content import Group
from .markup import is_known, plural, show_probability

ACCEPT = (
    "Look through the proposed joints on the map. Then run the check again with ACCEPT_PROPOSED on, or keep a "
    "structure of kind joint (evidence seen or drawn) at every place where the pipes do join. Many other findings "
    "wait for this."
)
NOTHING_FOUND = "Nothing was found in what was checked."


def check_verdict(
    groups: Sequence[Group],
    drains_read: int,
    without_outlet: int = 0,
    waiting_for_joints: int = 0,
    missed: int = 0,
    crashed: int = 0,
    accepted: int = 0,
    returned: int = 0,
) -> tuple[str, ...]:
    """Sentences for a check of `drains_read` drains.

    `without_outlet` counts the drains that reach no outlet, `waiting_for_joints` those of them that would if
    the proposed joints were accepted, `missed` the entries of what was not checked, `crashed` the broken checks,
    `accepted` the further findings that somebody lets stand, `returned` those that came back since.
    """
    if not drains_read:
        return ("No drain was read, so nothing was checked.", "Choose a layer, a selection or a filter that has lines.")
    said = list(_joints(drains_read, without_outlet, waiting_for_joints) or _worst(groups))
    if returned:
        came = "that was accepted is back" if returned == 1 else "that were accepted are back"
        said.append(f"{plural(returned, 'finding')} {came}: the facts have changed since.")
    if accepted:
        stand = "stands accepted, with its reason" if accepted == 1 else "stand accepted, with their reasons"
        said.append(f"{plural(accepted, 'further finding')} {stand}, at the end of this page.")
    if crashed:
        said.append(f"{plural(crashed, 'check')} broke off: this page is not complete.")
    if missed:
        said.append("Some of it could not be checked: see 'Not checked, and why'.")
    return tuple(said)


def _joints(drains_read: int, without_outlet: int, waiting: int) -> tuple[str, ...]:
    """The joints come first where most of the drains without an outlet only wait for them."""
    if 2 * waiting <= without_outlet:
        return ()
    rest = without_outlet - waiting
    more = f" The other {plural(rest, 'drain')} would still have none." if rest else ""
    lack = "reaches" if waiting == 1 else "reach"
    return (
        f"{waiting:,} of {plural(drains_read, 'drain')} {lack} no outlet until the proposed joints are accepted: "
        f"their ends, or those of pipes below them, only nearly meet.{more}",
        ACCEPT,
    )


def _worst(groups: Sequence[Group]) -> tuple[str, ...]:
    if not groups:
        return (NOTHING_FOUND,)
    first = groups[0]
    serious = sum(dict(group.severities).get(Severity.SERIOUS, 0) for group in groups)
    total = sum(group.total for group in groups)
    at = f", first at {first.rows[0].name}" if first.rows and first.rows[0].name else ""
    return (
        f"{plural(total, 'finding')}, {serious:,} of them serious. Worst: {first.check.title} "
        f"({plural(first.total, 'finding')} on {plural(first.drain_count, 'drain')}{at}).",
        f"What to do first: {first.check.remedy}",
    )


def reroute_verdict(call: str, p_reverse: float, climbs: str = "") -> str:
    """The verdict on a reroute in words, with its probability; `climbs`: the ends at which water would have to."""
    told = f" But where it ties in water would have to climb: {climbs}." if climbs else ""
    return _fall_verdict(call, p_reverse) + told


def _fall_verdict(call: str, p_reverse: float) -> str:
    chance = f"the chance that it runs backwards somewhere is {show_probability(p_reverse)}"
    if call == FALLS:
        return f"The pipe falls all the way: {chance}." if is_known(p_reverse) else "The pipe falls all the way."
    if call == REVERSE:
        return f"The pipe runs backwards: {chance}. Do not lay it like this."
    if call == CANNOT_TELL:
        return f"Cannot tell whether the pipe falls: {chance}. Shoot the levels named below first."
    return "Unknown whether the pipe falls: there is no elevation for part of it. Unknown does not mean good."
