"""After an edit: make the checks again on what was built anew, and keep what they said of the rest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..county_update import UpdatedCounty, update_county
from ..network.kept_rows import Table, is_same, rows_of
from ..network.loose_ends import REACH_M
from ..network.near import near_any
from ..network.network import Network
from .case import Case
from .run import CanceledError, Findings, Results, run_checks
from .spliced import spliced_findings, spliced_not_checked
from .whole import Checked, Given, case_of, check_whole

Progress = Callable[[float], None]

_ANYWHERE_M = 1e9


@dataclass(frozen=True)
class CheckedAgain(Checked):
    """`update`: how the county was brought up to date, None where it was built as a whole; `why_all`: why all checks
    were made on all drains, empty where they were not."""

    update: UpdatedCounty | None
    why_all: str


def check_again(
    before: Checked,
    given: Given,
    progress: Progress = lambda share: None,
    is_canceled: Callable[[], bool] = lambda: False,
) -> CheckedAgain:
    """What `check_whole` would find, by as little work as an edit asks for. Raises CanceledError when told to stop."""
    checks = before.results.findings.checks
    why = _why_whole(before, given)
    if why:
        whole = check_whole(given, checks, progress, is_canceled)
        return CheckedAgain(given, whole.case, whole.results, None, why)
    update = update_county(before.case.county, given.drains, given.structures, given.shots, given.sampler)
    if is_canceled():
        raise CanceledError
    case = case_of(given, update.county, checks)
    why = _why_all(before, case, update)
    if why:
        return CheckedAgain(given, case, run_checks(case, checks, progress, is_canceled), update, why)
    results = _again(before, case, update, progress, is_canceled)
    return CheckedAgain(given, case, results, update, "")


def _why_whole(before: Checked, given: Given) -> str:
    """Why nothing of a run can be kept; empty where something can."""
    was = before.given
    if was.sampler != given.sampler or was.ground_name != given.ground_name:
        return "Another ground was given."
    if before.case.ground_fault:
        return "The ground did not belong to the inverts: it has to be looked at as a whole."
    return why_other_settings(was, given)


def why_other_settings(was: Given, given: Given) -> str:
    """Why a network has to be built as a whole, though one was built before; empty where it can be brought up to date.
    """
    if (was.tolerance_m, was.accept_proposed, was.units) != (given.tolerance_m, given.accept_proposed, given.units):
        return "A setting of the run was changed."
    if was.limits != given.limits or any(was.limits.of(name) != given.limits.of(name) for name in given.limits):
        return "A limit was changed."
    return ""


def _why_all(before: Checked, case: Case, update: UpdatedCounty) -> str:
    """Why all checks have to be made on all drains, though the county was brought up to date; empty: they need not."""
    if update.part is None:
        return update.update.why_all
    if case.ground_fault:
        return "The ground does not belong to the inverts any more."
    if not (_same(before.case.trees, case.trees, "tree_id") and _same(before.case.land, case.land, "land_id")):
        return "Trees or land were changed."
    if before.case.edits != case.edits:
        return "The history of the archive goes on."
    return "A check broke off last time." if before.results.crashed else ""


def _same(before: Table | None, now: Table | None, key: str) -> bool:
    if before is now or before is None or now is None:
        return before is now
    return is_same(before, now, key)


def _again(
    before: Checked, case: Case, update: UpdatedCounty, progress: Progress, is_canceled: Callable[[], bool]
) -> Results:
    checks, splice = before.results.findings.checks, update.update.splice
    near, looking_far = ([check for check in checks if check.looks_far == far] for far in (False, True))
    asked = _drains_to_ask(before, case, update)
    part = run_checks(_part_case(case, update), near, progress, is_canceled)
    far = run_checks(replace(case, asked=asked), looking_far, is_canceled=is_canceled)
    drain, every = splice.numbers["drain"], np.arange(len(case.drains))
    told = [
        (before.results, before.case.network, drain.old), (part, update.part.network, drain.part),
        (far, case.network, every),
    ]
    return Results(
        spliced_findings(before.results.findings, part.findings, far.findings, splice, asked),
        spliced_not_checked(told, case.network, checks),
        part.crashed + far.crashed,
    )


def _part_case(case: Case, update: UpdatedCounty) -> Case:
    """What was built anew, with the trees and the land that can matter to it."""
    lines = update.part.network.lines.geometry
    reach_m = max(case.limits["tree_distance_high"], case.limits["tree_distance_ordinary"])
    trees, land = (
        None if table is None else rows_of(table, np.flatnonzero(near_any(table.geometry, lines, far_m)))
        for table, far_m in ((case.trees, reach_m), (case.land, 0.0))
    )
    return replace(case, county=update.part, trees=trees, land=land)


def _drains_to_ask(before: Checked, case: Case, update: UpdatedCounty) -> np.ndarray:
    """The drains (a mask) about which a check that looks far may say something else than before.

    Those that were built anew; and those without outlet that lie so near to a pipe that came, went or changed that it
    may be, or have been, the nearest to one of their ends.
    """
    old, net, drain = before.case.network, case.network, update.update.splice.numbers["drain"]
    asked = np.zeros(len(net.drains), dtype=bool)
    asked[drain.part] = True
    few = np.concatenate([old.lines.geometry[_left(update, old, net)], net.lines.geometry[_came(update, old, net)]])
    open_ = np.zeros(len(net.drains), dtype=bool)
    open_[net.drains_without_outlet] = True
    line = np.flatnonzero(net.used & (open_ & ~asked)[net.lines.drain])
    reach_m = _reach_m(before.results.findings, case, drain.old)[net.lines.drain[line]]
    row, _ = shapely.STRtree(few).query(net.lines.geometry[line], predicate="dwithin", distance=reach_m)
    asked[net.lines.drain[line[row]]] = True
    return asked


def _stayed(update: UpdatedCounty, old: Network, net: Network) -> np.ndarray:
    """Lines now that are in the network and were, just as they are."""
    was = update.update.line_before
    return net.used & (was >= 0) & (old.used[was] if len(old.lines) else False)


def _came(update: UpdatedCounty, old: Network, net: Network) -> np.ndarray:
    return net.used & ~_stayed(update, old, net)


def _left(update: UpdatedCounty, old: Network, net: Network) -> np.ndarray:
    left = old.used.copy()
    left[update.update.line_before[_stayed(update, old, net)]] = False
    return left


def _reach_m(findings: Findings, case: Case, drain_now: np.ndarray) -> np.ndarray:
    """By drain, how far from it the pipe nearest to any of its ends can be at most.

    If nothing was found of it, one of its ends meets a pipe within the tolerance; from the other end that is a length
    of the drain farther.
    """
    gap_m = np.full(len(case.drains), case.network.tolerance_m)
    for number, check in enumerate(findings.checks):
        rows = np.flatnonzero((findings.check == number) & (findings.drain >= 0)) if check.looks_far else []
        now = drain_now[findings.drain[rows]]
        gap_m[now[now >= 0]] = np.nan_to_num(findings.value[rows][now >= 0], nan=_ANYWHERE_M)
    length_m = np.bincount(case.network.lines.drain, case.network.lines.length_m, minlength=len(case.drains))
    return np.maximum(gap_m + length_m, REACH_M)
