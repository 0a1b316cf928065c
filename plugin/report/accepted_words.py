"""What is said of a finding that somebody let stand, and of one that came back since."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..checks.accepted import LONGER, MORE, WORSE, AcceptedRows, Standing
from ..checks.run import Findings
from ..county import County
from ..units import Units
from .content import Table
from .markup import NONE, show_number
from .order import worst_first

_DAY = 10  # characters of a day in ISO 8601


def said_accepted(rows: AcceptedRows, row: int) -> str:
    """'accepted on 2026-03-01 by A. Ames: 'dry for years'', as far as the row tells."""
    on, by, reason = rows.on[row], rows.by[row], rows.reason[row]
    when = f" on {str(on)[:_DAY]}" if on else ""
    return f"accepted{when}{f' by {by}' if by else ''}: " + (f"'{reason}'" if reason else "no reason is written")


def said_standing(county: County, findings: Findings, standing: Standing, finding: int) -> str:
    """How a finding stands to the table of accepted findings; empty where no row speaks of it."""
    row = int(standing.row[finding])
    if row < 0:
        return ""
    said = said_accepted(standing.rows, row)
    why = _why_back(county, findings, standing, finding)
    return f"{said}, but {why}" if why else said


def _why_back(county: County, findings: Findings, standing: Standing, finding: int) -> str:
    is_, row = int(standing.is_[finding]), int(standing.row[finding])
    if not standing.returned[finding]:
        return ""
    if is_ == MORE:
        rows = standing.rows
        given = int((np.equal(rows.drain_id, None) & (rows.check == rows.check[row])).sum())
        were = "was" if given == 1 else "were"
        return f"there are {int(standing.count[finding]):,} now where {given:,} {were} accepted"
    units, check = county.units, findings.checks[findings.check[finding]]
    if is_ == LONGER:
        was = _span(units, np.array([standing.rows.from_m[row], standing.rows.to_m[row]]))
        return f"it reaches {_reach(county, findings, finding)} now where {was} was accepted"
    unit = units.name(check.kind) if check.kind else ""
    now = findings.value[finding] / (units.size_si(check.kind) if check.kind else 1.0)
    was = standing.rows.value[row]
    if is_ == WORSE:
        return f"it is now {show_number(now, unit)} where {show_number(was, unit)} was accepted"
    if np.isnan(was):
        return f"it is now {show_number(now, unit)} where no figure was accepted"
    return f"no figure is known now where {show_number(was, unit)} was accepted"


def _reach(county: County, findings: Findings, finding: int) -> str:
    line = findings.line[finding]
    if line < 0:
        return "all of the drain"
    ends_m = np.array([findings.from_m[finding], findings.to_m[finding]])
    return _span(county.units, county.network.lines.station_m(line, ends_m))


def _span(units: Units, station_m: np.ndarray) -> str:
    first, last = (units.show_station(float(at_m)) for at_m in (np.nanmin(station_m), np.nanmax(station_m)))
    return first if first == last else f"{first} to {last}"


def told(county: County, findings: Findings, standing: Standing) -> Findings:
    """The findings; those that came back say so in their detail."""
    rows = np.flatnonzero(standing.returned).tolist()
    if not rows:
        return findings
    detail = findings.detail.copy()
    for row in rows:
        said = said_standing(county, findings, standing, row)
        said = said[0].upper() + said[1:]
        detail[row] = f"{detail[row]}. {said}" if detail[row] else said
    return replace(findings, detail=detail)


def accepted_words(county: County, findings: Findings, standing: Standing) -> np.ndarray:
    """By finding, what is said of an accepted one; None for the others."""
    said = np.full(len(findings), None, dtype=object)
    for row in np.flatnonzero(standing.accepted).tolist():
        said[row] = said_standing(county, findings, standing, row)
    return said


def accepted_table(county: County, findings: Findings, standing: Standing) -> Table:
    """The accepted findings, worst first."""
    order = worst_first(findings)
    rows = []
    for row in order[standing.accepted[order]].tolist():
        drain, check = int(findings.drain[row]), findings.checks[findings.check[row]]
        kind, known = check.kind, findings.line[row] >= 0
        value = findings.value[row] / county.units.size_si(kind) if kind else float("nan")
        said = said_standing(county, findings, standing, row)
        rows.append((
            check.title, str(county.network.drains.name[drain]) if drain >= 0 else "on no drain",
            _reach(county, findings, row) if known else NONE,
            show_number(value, county.units.name(kind) if kind else ""), said[0].upper() + said[1:],
        ))
    return Table(("What was found", "Drain", "Where", "Value", "Accepted"), tuple(rows), "")
