"""Checks of a new pipe's fall: reverse, flat, unknown, levels it has to keep, and what it runs into."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ..checks.declare import CANNOT_TELL, FOUND, REVERSE, UNKNOWN, NotChecked, Severity, Stretches, check
from ..elevation.grade import FALLS, p_reverse
from .ends import LOOSE, PIPE
from .kept import way_down
from .words import fall_words, place_name, size_words, what_would_settle, why_unknown

if TYPE_CHECKING:
    from .judge import Reroute

_NO_SIZE = "The size of the new pipe is unknown: give DIAMETER."
END_SHOWN_M = 1.0  # a place at an end is shown as that much of the route


def whole(reroute: Reroute, **told: object) -> Stretches:
    """The whole new pipe as one stretch."""
    return Stretches(np.array([reroute.line]), np.zeros(1), np.array([reroute.verdict.length_m]), **told)


@check(
    id="reverse-grade",
    title="New pipe runs backwards, or it cannot be told that it falls",
    remedy="Do not lay it like this: tie in farther down, or shoot both inverts if it cannot be told.",
    false_alarm="Inverts from two datums, or depths that were only guessed: shoot both ends.",
    severity=Severity.SERIOUS,
    source="inverts at both ends with normal errors: P(reverse) = \u03a6(-fall / its standard error)",
    kind="grade",
    limits=("p_reverse", "p_falls"),
    worst="min",
)
def reverse_grade(reroute: Reroute) -> Iterator[Stretches]:
    """Value: the grade, negative where the pipe rises downstream."""
    verdict, units = reroute.verdict, reroute.county.units
    if verdict.call in (REVERSE, CANNOT_TELL):
        severity = Severity.SERIOUS if verdict.call == REVERSE else Severity.DOUBT
        detail = what_would_settle(reroute) or fall_words("It", verdict.fall_m, verdict.length_m, units) + " downstream"
        yield whole(reroute, value=verdict.grade, limit=0.0, probability=verdict.p_reverse, call=verdict.call,
                    severity=severity, detail=detail)


@check(
    id="unknown-elevation",
    title="Nobody knows whether the new pipe falls",
    remedy="Shoot the inverts where it is to tie in before pipe is ordered.",
    false_alarm="The inverts may stand in another layer: give SHOTS, INVERT_UP or INVERT_DOWN.",
    severity=Severity.DOUBT,
    source="inverts, shots, ground less depth",
)
def unknown_elevation(reroute: Reroute) -> Iterator[Stretches]:
    """The whole pipe where an end has no invert, or nothing tells which end is the upper one."""
    if reroute.verdict.call == UNKNOWN:
        yield whole(reroute, call=UNKNOWN, detail=why_unknown(reroute))


@check(
    id="flat-grade",
    title="New pipe is flatter than the least grade",
    remedy="Tie in farther down or shorten the route; more fall cannot be made between these two ends.",
    false_alarm="A filter or sock, or water without silt, lets less do.",
    severity=Severity.DOUBT,
    source="the least grade asked for, else Manning full flow at the least velocity",
    kind="grade",
    limits=("least_velocity", "least_velocity_fines", "fine_soil", "p_reverse", "p_falls"),
    worst="min",
)
def flat_grade(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: the grade; limit: the least one. A fall that is itself in doubt is left to reverse-grade."""
    verdict, limits, units = reroute.verdict, reroute.case.limits, reroute.county.units
    if np.isnan(verdict.least_grade):
        yield NotChecked(f"{_NO_SIZE} Or give LEAST_GRADE.")
        return
    if verdict.call == UNKNOWN:
        yield NotChecked("Nobody knows its fall.")
        return
    p_flat = 1.0 - verdict.p_least
    if verdict.call == FALLS and p_flat > limits["p_falls"]:
        sure = p_flat >= limits["p_reverse"]
        short_m = verdict.least_grade * verdict.length_m - verdict.fall_m
        asked = "the least grade asked for" if verdict.asked else "the grade of the least velocity"
        detail = f"{units.show_length(abs(short_m), 3)} {'short of' if short_m > 0 else 'more than'} {asked} needs"
        yield whole(reroute, value=verdict.grade, limit=verdict.least_grade, probability=p_flat,
                    call=FOUND if sure else CANNOT_TELL, severity=Severity.DOUBT if sure else Severity.NOTE,
                    detail=detail.replace("short of", "less fall than"))


@check(
    id="fixed-invert",
    title="New pipe misses a level it has to keep",
    remedy="Move the route or a tie-in, or break the grade at that place.",
    false_alarm="A fixed point that belongs to another pipe, or its level in another unit or datum.",
    severity=Severity.SERIOUS,
    source="levels of the fixed points against a straight grade between the ends",
    kind="length",
    limits=("fixed_distance", "p_reverse", "p_falls"),
)
def fixed_invert(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: the new invert at the point; limit: the level that is missed."""
    fixed, at_m = reroute.plan.fixed, reroute.stations.fixed_at_m
    limits, units = reroute.case.limits, reroute.county.units
    for row in np.flatnonzero(np.isnan(at_m)):
        far = units.show_length(limits["fixed_distance"])
        yield NotChecked(f"Fixed point {fixed.name[row]} lies more than {far} from the route: move it onto it.")
    if reroute.verdict.call == UNKNOWN:
        if len(fixed):
            yield NotChecked("Nobody knows the inverts of the new pipe.")
        return
    held = np.flatnonzero(np.isfinite(at_m))
    yield _missed(reroute, held, fixed.least_m[held], 1.0, "below the least")
    yield _missed(reroute, held, fixed.greatest_m[held], -1.0, "above the greatest")


def _missed(reroute: Reroute, held: np.ndarray, level_m: np.ndarray, sign: float, word: str) -> Stretches:
    """Of the fixed points `held`, those whose level is missed or may be: by `sign`, above or below the pipe."""
    limits, show, at_m = reroute.case.limits, reroute.county.units.show_length, reroute.stations.fixed_at_m[held]
    invert_m, sigma_m = reroute.invert_at(at_m)
    margin_m = sign * (invert_m - level_m)
    p_missed = p_reverse(margin_m, sigma_m)
    rows = np.flatnonzero(p_missed > limits["p_falls"])
    sure = p_missed[rows] >= limits["p_reverse"]
    begin_m = np.clip(at_m[rows], 0.0, max(reroute.verdict.length_m - END_SHOWN_M, 0.0))
    name = reroute.plan.fixed.name[held]
    detail = [
        f"at {name[row]} it passes {show(abs(margin_m[row]), 3)} "
        f"{word + ' invert' if margin_m[row] < 0 else 'inside the limit'}"
        for row in rows
    ]
    return Stretches(
        np.full(len(rows), reroute.line), begin_m, np.minimum(begin_m + END_SHOWN_M, reroute.verdict.length_m),
        value=invert_m[rows], limit=level_m[rows], probability=p_missed[rows],
        call=np.where(sure, FOUND, CANNOT_TELL).astype(object),
        severity=np.array([Severity.SERIOUS if one else Severity.DOUBT for one in sure], dtype=object),
        detail=np.array(detail, dtype=object),
    )


@check(
    id="loose-end",
    title="New pipe ends in the open",
    remedy="Draw the end onto the pipe it is to tie in to, or mark an outlet there by a structure with its invert.",
    false_alarm="A new outlet or a new head of a drain is meant.",
    severity=Severity.SERIOUS,
    source="network of the drawn lines",
    kind="length",
)
def loose_end(reroute: Reroute) -> Iterator[Stretches]:
    """Value: distance to the nearest pipe. A doubt where the invert of the end was given, else serious."""
    network, units, length_m = reroute.network, reroute.county.units, reroute.verdict.length_m
    shown_m = min(END_SHOWN_M, length_m)
    for tie, which, from_m in ((reroute.lower, "lower", 0.0), (reroute.upper, "upper", length_m - shown_m)):
        if tie.end.kind != LOOSE:
            continue
        near = "no pipe in the ground anywhere"
        if tie.end.line >= 0:
            name = network.drains.name[network.lines.drain[tie.end.line]]
            near = f"the nearest pipe is {name}, {units.show_length(tie.end.distance_m)} away"
        yield Stretches(
            np.array([reroute.line]), np.array([from_m]), np.array([from_m + shown_m]), value=tie.end.distance_m,
            severity=Severity.SERIOUS if np.isnan(tie.z_m) else Severity.DOUBT, detail=f"{which} end: {near}",
        )


@check(
    id="no-outlet",
    title="The pipe that would take the water reaches no outlet",
    remedy="Find its outlet first: mark it with a structure of kind outlet, or close the gap below.",
    false_alarm="The outlet may lie outside this layer or selection.",
    severity=Severity.SERIOUS,
    source="network of the drawn lines",
)
def no_outlet(reroute: Reroute) -> Iterator[Stretches]:
    """Where the water goes on below the lower end."""
    end = reroute.lower.end
    if end.kind == PIPE and end.below.outlet < 0:
        waits = np.isin(reroute.network.lines.drain[end.line], reroute.network.drains_waiting)
        more = "; it would reach one if the proposed joints were accepted (ACCEPT_PROPOSED)" if waits else ""
        yield whole(reroute, detail=f"the water would go on in {place_name(reroute, reroute.lower)}{more}")


@check(
    id="smaller-downstream",
    title="Smaller pipe below a larger one",
    remedy="Tie in to a pipe at least as large as the one whose water is led over, or lay the larger size on.",
    false_alarm="A size may be written down wrong: measure it when the pipe is opened.",
    severity=Severity.SERIOUS,
    source="sizes at both ends; a main is not made smaller on its way down (NRCS NEH Part 650 ch. 14, from memory)",
    kind="diameter",
    worst="min",
)
def smaller_downstream(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: inside diameter; limit: that of the pipe whose water comes. Whether it is overloaded is another matter."""
    above_m, new_m, below_m = _sizes(reroute)
    units = reroute.county.units
    above = f"{place_name(reroute, reroute.upper)}, {size_words(above_m, units)}"
    if new_m < above_m - 1e-4:
        yield whole(reroute, value=new_m, limit=above_m,
                    detail=f"{size_words(new_m, units)} is smaller than the pipe it takes the water from, {above}")
    wider_m = np.fmax(above_m, new_m)
    if below_m < wider_m - 1e-4:
        way = way_down(reroute.county, reroute.lower.end.below)
        line = reroute.network.pieces.line[way.piece]
        same = np.flatnonzero(line == reroute.lower.end.line)
        source = above if not new_m > above_m else f"the new pipe, {size_words(new_m, units)}"
        yield Stretches(
            line[same], way.from_m[same], way.to_m[same], value=below_m, limit=wider_m,
            detail=f"{size_words(below_m, units)} is smaller than the pipe it takes the water from, {source}",
        )
    ends = ((reroute.upper, above_m, "upper"), (reroute.lower, below_m, "lower"))
    for which in (which for tie, size_m, which in ends if tie.end.kind == PIPE and np.isnan(size_m)):
        yield NotChecked(f"The size of the pipe at the {which} end is unknown: measure it at the next opening.")
    if np.isnan(new_m):
        yield NotChecked(_NO_SIZE)


def _sizes(reroute: Reroute) -> tuple[float, float, float]:
    """Inside diameters of the pipe above, the new one, and the pipe below; NaN unknown."""
    network = reroute.network

    def at(end) -> float:
        return float(network.drains.diameter_m[network.lines.drain[end.line]]) if end.kind == PIPE else float("nan")

    return at(reroute.upper.end), reroute.plan.diameter_m, at(reroute.lower.end)
