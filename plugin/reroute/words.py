"""What is said of a reroute, in the units of the archive."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..checks.declare import Severity
from ..elevation.grade import CANNOT_TELL, UNKNOWN, error_that_settles_m
from ..report.markup import plural
from ..units import Units
from .ends import LOOSE, OUTLET
from .margins import BELOW, ENTERS, Margins, crossings, find_margins
from .meetings import CROSSES, ENDS_ON, FOLLOWS

if TYPE_CHECKING:
    from ..checks.run import Findings
    from .judge import Reroute, TieIn
    from .left_behind import LeftBehind

MINUS = "\u2212"
_MEETS = {CROSSES: "crosses", ENDS_ON: "end of", FOLLOWS: "follows"}
_COUNTED = {ENTERS: "may enter", BELOW: "too low to enter", CANNOT_TELL: "cannot tell", UNKNOWN: "unknown"}
_STATE = {
    ENTERS: "may enter",
    BELOW: "lies too low to enter",
    CANNOT_TELL: "cannot tell whether it can enter",
    UNKNOWN: "its invert is unknown",
}


def size_words(diameter_m: float, units: Units) -> str:
    """'15 in'; a size of unknown figure is said so."""
    if np.isnan(diameter_m):
        return "size unknown"
    return f"{diameter_m / units.diameter_m:.4g} {units.diameter_name}"


def grade_words(grade: float) -> str:
    """'0.0636 %', negative where the pipe rises downstream."""
    return f"{100.0 * grade:.4f} %".replace("-", MINUS)


def fall_words(what: str, fall_m: float, length_m: float, units: Units) -> str:
    """'The pipe falls 0.350 ft (0.0636 %)'."""
    if fall_m == 0.0:
        return f"{what} neither falls nor rises"
    turn = "falls" if fall_m > 0 else "rises"
    return f"{what} {turn} {units.show_length(abs(fall_m), 3)} ({grade_words(abs(fall_m) / length_m)})"


def pipe_name(reroute: Reroute, line: int) -> str:
    """What people call the drain of a line, with its key where others have the same name."""
    drains, drain = reroute.network.drains, reroute.network.lines.drain[line]
    name = str(drains.name[drain])
    return f"{name} ({drains.drain_id[drain]})" if (drains.name == drains.name[drain]).sum() > 1 else name


def place_name(reroute: Reroute, tie: TieIn) -> str:
    """What an end ties in to: 'Main A (A-1) at its 10+75'."""
    network, units, end = reroute.network, reroute.county.units, tie.end
    if end.kind == OUTLET:
        return str(network.structures.name[end.structure])
    if end.kind == LOOSE:
        return "nothing: it ends in the open"
    station_m = float(network.lines.station_m(end.line, end.place.at_m))
    return f"{pipe_name(reroute, end.line)} at its {units.show_station(station_m)}"


def tie_in_words(reroute: Reroute, tie: TieIn, which: str) -> str:
    """For a note at a station."""
    if tie.end.kind == LOOSE:
        return f"{which} end, in the open"
    return f"{which} tie-in, {place_name(reroute, tie)}"


def invert_words(tie: TieIn, units: Units) -> str:
    """'696.675 ft ± 0.030 ft, stated invert'."""
    if np.isnan(tie.z_m):
        return "invert unknown"
    return f"invert {units.show_length(tie.z_m, 3)} \u00b1 {units.show_length(tie.sigma_m, 3)}, {tie.how}"


def meeting_words(reroute: Reroute, row: int) -> str:
    """'crosses F1-14'."""
    met = reroute.meetings
    return f"{_MEETS[met.kind[row]]} {pipe_name(reroute, int(met.line[row]))}"


def margin_words(margins: Margins, row: int, units: Units) -> str:
    """'0.55 ft above the new invert: may enter'."""
    state = str(margins.state[row])
    if state == UNKNOWN:
        return _STATE[UNKNOWN] if np.isnan(margins.invert_m[row]) else "the new invert is unknown"
    margin_m = float(margins.margin_m[row])
    side = "above" if margin_m >= 0 else "below"
    under = "; it passes under the new pipe" if state == BELOW and margins.passes_under[row] else ""
    return f"{units.show_length(abs(margin_m), 3)} {side} the new invert: {_STATE[state]}{under}"


def why_unknown(reroute: Reroute) -> str:
    """Why the fall is unknown, as a sentence with what would help; empty where it is known."""
    if reroute.verdict.call != UNKNOWN:
        return ""
    lacking = [which for which, tie in (("upper", reroute.upper), ("lower", reroute.lower)) if np.isnan(tie.z_m)]
    if not lacking:
        return reroute.flow.why + " Give INVERT_UP and INVERT_DOWN, or connect the drains to their outlet."
    ends = " and the ".join(f"{which} end" for which in lacking)
    given = " and ".join({"upper": "INVERT_UP", "lower": "INVERT_DOWN"}[which] for which in lacking)
    return f"No invert is known at the {ends}: shoot the pipe there, or give {given}."


def what_would_settle(reroute: Reroute) -> str:
    """Which two inverts to shoot, and how well, where the fall is in doubt; empty elsewhere."""
    verdict, units, limits = reroute.verdict, reroute.county.units, reroute.case.limits
    if verdict.call != CANNOT_TELL:
        return ""
    needed_m = float(error_that_settles_m(verdict.fall_m, limits))
    where = f"{place_name(reroute, reroute.upper)} and {place_name(reroute, reroute.lower)}"
    if needed_m < limits["error_level"]:
        return (f"The fall is too small to be called over this length: the inverts of {where} would have to be shot "
                f"within {units.show_length(needed_m, 3)} each.")
    return (f"Two level shots would decide it: the inverts of {where}, each within "
            f"{units.show_length(needed_m, 3)} (standard error).")


def fall_sentences(reroute: Reroute) -> tuple[str, ...]:
    """What follows the verdict: the fall and between what, and what would settle a doubt."""
    verdict, units = reroute.verdict, reroute.county.units
    if verdict.call == UNKNOWN:
        return (why_unknown(reroute),)
    over = f"over {units.show_length(verdict.length_m)}"
    ways = f"on the way from {place_name(reroute, reroute.upper)} to {place_name(reroute, reroute.lower)}"
    who = "As far as is known the new pipe" if verdict.call == CANNOT_TELL else "The new pipe"
    fall = f"{fall_words(who, verdict.fall_m, verdict.length_m, units)} {over}, {ways}."
    return tuple(sentence for sentence in (fall, what_would_settle(reroute)) if sentence)


def serious_sentences(findings: Findings) -> tuple[str, ...]:
    """What else is seriously wrong, in its own words."""
    said = []
    for row, severity in enumerate(findings.severity):
        check = findings.checks[findings.check[row]]
        if severity == Severity.SERIOUS and check.id not in ("reverse-grade", "crossing-not-joined"):
            said.append(f"{check.title}: {findings.detail[row]}.")
    return tuple(said)


def further_sentences(reroute: Reroute, findings: Findings) -> tuple[str, ...]:
    """The rest: least grade, drains met, trees, the ground, and why which end is the upper one."""
    said = [_least_grade_words(reroute), *_met_sentence(reroute), *_tree_sentence(reroute, findings.of("near-trees")),
            _ground_words(reroute)]
    why = reroute.flow.why
    return tuple(sentence for sentence in (*said, "" if why in why_unknown(reroute) else why) if sentence)


def _met_sentence(reroute: Reroute) -> tuple[str, ...]:
    state = find_margins(reroute).state[crossings(reroute)]
    if not len(state):
        return ()
    counts = [(int((state == word).sum()), words) for word, words in _COUNTED.items()]
    told = ", ".join(f"{count} {words}" for count, words in counts if count)
    return (f"On its way it meets {len(state)} drain{'s' if len(state) > 1 else ''}: {told}.",)


def _tree_sentence(reroute: Reroute, findings: Findings) -> tuple[str, ...]:
    length_m = findings.to_m - findings.from_m
    own_m = float(length_m[findings.line == reroute.line].sum())
    kept_m = float(length_m[findings.line != reroute.line].sum())
    show = reroute.county.units.show_length
    told = [f"{show(own_m)} of the new pipe"] if own_m else []
    told += [f"{show(kept_m)} of old pipe that stays at its ends"] if kept_m else []
    return (f"Within root distance of trees: {' and '.join(told)}.",) if told else ()


def _least_grade_words(reroute: Reroute) -> str:
    verdict = reroute.verdict
    if not verdict.asked or np.isnan(verdict.p_least):
        return ""
    return (f"The chance that its grade is {grade_words(verdict.least_grade)} or more, the least asked for, is "
            f"{100 * verdict.p_least:.1f} %.")


def _ground_words(reroute: Reroute) -> str:
    verdict, units = reroute.verdict, reroute.county.units
    if np.isnan(verdict.ground_fall_m):
        return ""
    ground = fall_words("The ground", verdict.ground_fall_m, verdict.length_m, units)
    return f"{ground} between the same ends. That decides nothing: water runs in the pipe, not on the ground."


def left_sentences(left: LeftBehind | None, units: Units) -> tuple[str, ...]:
    """What hangs on the old run only."""
    if left is None:
        return ("The ends do not lie above each other on one way of the water, so no old run is left between them.",)
    if not left.count:
        return ("Nothing joins the old run between the two ends.",)
    area = f"{left.area_m2 / units.area_m2:,.3f} {units.area_name}"
    said = [f"If the old run of {units.show_length(left.length_m)} between the two ends is taken out, "
            f"{plural(left.count, 'drain')} with {area} would have no way out: {', '.join(left.names)}."]
    if left.stubs:
        said.append(f"Of these, {plural(left.stubs, 'is the stub', 'are stubs')} below the new pipe of drains that "
                    "it meets and that can enter it.")
    return tuple(said)
