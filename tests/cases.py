"""Cases for tests of checks: rows in feet go in, rows as people read them come out."""

from __future__ import annotations

from types import SimpleNamespace

import builders as b
import numpy as np
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.catalogue import CHECKS
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.county import County
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.result_tables import findings_table, not_checked_table
from fallkeeper.plugin.units import Units

CHECK = {check.id: check for check in CHECKS}


def case_of(
    *rows, outlets=(), shots=(), trees=None, land=None, ground=None, limits=(), tolerance=1.0, accept=False,
    units=None, step=5.0, ground_fault="",
):
    """A case of drains as builders make them. `ground(x, y)` is in ft at places in ft; `limits` are rows of a table.

    `tolerance` and `step` (of ground samples) are in ft.
    """
    limits = Limits(limits)
    network = build_network(
        b.drains(*rows), b.structures(*outlets), b.shots(*shots), limits=limits, tolerance_m=tolerance * b.FT,
        accept_proposed=accept,
    )
    profile = None
    if ground is not None:
        profile = sample_lines(network.lines, in_metres(ground), step * b.FT, network.active)
    return Case(
        County(network, limits, units or Units("us"), profile),
        None if trees is None else b.trees(*trees),
        None if land is None else b.land(*land),
        ground_fault,
    )


def in_metres(ground):
    def sampler(x_m, y_m):
        heights = np.broadcast_to(ground(x_m / b.FT, y_m / b.FT), np.shape(x_m))
        return np.asarray(heights, dtype=float) * b.FT

    return sampler


def results_of(case, *check_ids):
    """The results of the checks named, of all without a name. None may crash."""
    results = run_checks(case, [CHECK[check_id] for check_id in check_ids] or CHECKS)
    for crashed in results.crashed:
        raise AssertionError(crashed.trace)
    return results


def found(case, check_id):
    """Findings of one check as they stand in the result layers; `at` is the range of stations in whole ft."""
    findings = results_of(case, check_id).findings
    columns = findings_table(case.county, findings)
    rows = [SimpleNamespace(**dict(zip(columns, row))) for row in zip(*columns.values())]
    for row, place in zip(rows, findings.place):
        row.place = bool(place)
        row.at = tuple(round(float(s)) if np.isfinite(s) else None for s in (row.station_from, row.station_to))
    return rows


def where(case, check_id):
    """(drain, from, to) of the findings of one check, in whole ft."""
    return [(row.drain_id, *row.at) for row in found(case, check_id)]


def not_checked(case, check_id):
    """Why the check was not made -> the drains, or None for all."""
    told = {}
    for skipped in results_of(case, check_id).not_checked:
        ids = None if skipped.drain is None else set(case.drains.drain_id[skipped.drain].tolist())
        told[skipped.why] = ids
    return told


def not_checked_rows(case, *check_ids):
    """Rows of the table NOT_CHECKED as (check, drain or None)."""
    columns = not_checked_table(case.county, results_of(case, *check_ids))
    return list(zip(columns["check"].tolist(), columns["drain_id"].tolist()))


def of_drains(case, check_id, words):
    """The drains for which the check says a sentence with these words: None for all, an empty set for none."""
    told = [ids for why, ids in not_checked(case, check_id).items() if words in why]
    if len(told) > 1:
        raise AssertionError(f"more than one sentence with {words!r}")
    return told[0] if told else set()
