"""Findings to work through: grouped by what is wrong, worst first, filtered; and what there is to know of each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from ..checks.accepted import AcceptedRows, Standing, judge_accepted
from ..checks.case import Case
from ..checks.declare import Check, Severity
from ..checks.run import Findings
from ..report.accepted_words import said_standing
from ..report.markup import plural, show_number, show_probability
from ..report.order import worst_first
from ..result_tables import finding_shapes, source_of
from .answer import Answer, Section
from .pipe import name_of
from .systems import names_of, system_of_findings

NO_DRAIN = "the whole network"
ACCEPTED = "accepted"
_KEPT = ("_order", "_is_serious", "shapes", "systems", "system_names")  # what does not depend on what is accepted


@dataclass(frozen=True)
class FindingGroup:
    """What one check found, or (`check` is None) what is accepted: rows of the findings, worst first."""

    check: Check | None
    rows: np.ndarray

    @property
    def key(self) -> str:
        """The id of the check, or ACCEPTED."""
        return ACCEPTED if self.check is None else self.check.id


@dataclass(frozen=True)
class FindingsView:
    """All findings of a run over `case`; `stands`: which of them are accepted (None: none)."""

    case: Case
    findings: Findings
    stands: Standing | None = None

    def judged(self, rows: Iterable[Mapping[str, object]]) -> FindingsView:
        """The same findings beside these rows of the table `accepted`."""
        county = self.case.county
        table = AcceptedRows.of(rows, county.units)
        stands = judge_accepted(self.findings, county.network, table, county.limits, county.units)
        made = replace(self, stands=stands)
        made.__dict__.update({name: self.__dict__[name] for name in _KEPT if name in self.__dict__})
        return made

    @cached_property
    def standing(self) -> Standing:
        return self.stands or Standing.none(len(self.findings))

    @cached_property
    def systems(self) -> np.ndarray:
        """By finding, the system it lies in, as `systems.named_systems` has them."""
        return system_of_findings(self.case.network, self.findings)

    @cached_property
    def system_names(self) -> dict[int, str]:
        """What people call those systems, by number."""
        return names_of(self.case.county, np.unique(self.systems))

    @cached_property
    def _is_serious(self) -> np.ndarray:
        return np.array([one == Severity.SERIOUS for one in self.findings.severity], dtype=bool)

    @cached_property
    def _order(self) -> np.ndarray:
        return worst_first(self.findings)

    @cached_property
    def shapes(self) -> np.ndarray:
        """Where each finding lies, in metres: a line, a point, or None."""
        return finding_shapes(self.case.county, self.findings)

    def groups(
        self, severity: Severity | None = None, box_m: tuple[float, float, float, float] | None = None,
        check: str | None = None, system: int | None = None,
    ) -> list[FindingGroup]:
        """Groups of what is of a severity, touches a box, is of a check and lies in a system (None: all), in the order
        of their worst finding; what is accepted is the last."""
        keep = np.ones(len(self.findings), dtype=bool)
        if severity is not None:
            keep &= np.array([one == severity for one in self.findings.severity], dtype=bool)
        if box_m is not None:
            keep &= shapely.intersects(self.shapes, shapely.box(*box_m))
        if check is not None:
            keep &= np.array([one.id == check for one in self.findings.checks], dtype=bool)[self.findings.check]
        if system is not None:
            keep &= self.systems == system
        stand = self._order[(keep & self.standing.accepted)[self._order]]
        rows = self._order[(keep & ~self.standing.accepted)[self._order]]
        of_check = self.findings.check[rows]
        found, first = np.unique(of_check, return_index=True)
        found = found[np.argsort(first)].tolist()
        groups = [FindingGroup(self.findings.checks[k], rows[of_check == k]) for k in found]
        return [*groups, FindingGroup(None, stand)] if len(stand) else groups

    def checks_found(self) -> list[tuple[Check, int]]:
        """Checks with the number of their open findings, as the report has them; accepted ones count 0."""
        count = np.bincount(self.findings.check[~self.standing.accepted], minlength=len(self.findings.checks))
        found = np.unique(self.findings.check).tolist()
        return [(self.findings.checks[k], int(count[k])) for k in found]

    def cells(self, row: int) -> tuple[str, str, str]:
        """Where, value and limit of a finding, for a line of a table; of an accepted one also what it is."""
        found, check = self.findings, self.findings.checks[self.findings.check[row]]
        where = self._where(row)
        if self.standing.accepted[row]:
            where = f"{where}: {check.title}"
        elif self.standing.returned[row]:
            where = f"Back: {where}"
        return where, self._shown(found.value[row], check), self._shown(found.limit[row], check)

    def why(self, row: int) -> Answer:
        """What is wrong there, what to do, by which limit, from what source, and when it is a false alarm."""
        found, check = self.findings, self.findings.checks[self.findings.check[row]]
        facts = [str(found.detail[row])] if found.detail[row] else []
        if np.isfinite(found.value[row]):
            limit = f", limit {self._shown(found.limit[row], check)}" if np.isfinite(found.limit[row]) else ""
            facts.append(f"Value {self._shown(found.value[row], check)}{limit}.")
        if np.isfinite(found.probability[row]):
            facts.append(f"Probability {show_probability(found.probability[row])}.")
        stands = said_standing(self.case.county, found, self.standing, row)
        stands = stands[:1].upper() + stands[1:] + "." if stands else ""
        accepted = (Section("Accepted", (stands,)),) if self.standing.accepted[row] else ()
        return Answer(f"{check.title}: {self._where(row)}", (
            *accepted,
            Section("What to do", (check.remedy,)),
            Section("Facts", tuple(facts)),
            Section("By what rule", (source_of(check, self.case.county),)),
            Section("When it is a false alarm", (check.false_alarm,)),
        ), (stands,) if self.standing.returned[row] else ())

    def box_m(self, row: int) -> tuple[float, float, float, float] | None:
        """The box around a finding; None where it has no place."""
        shape = self.shapes[row]
        return None if shape is None else tuple(shapely.bounds(shape).tolist())

    def place_on_drain_m(self, row: int) -> float | None:
        """A place of a finding between the ends of its drain, by distance along the drain: where it lies or begins,
        else where it ends; None where it takes up the whole line."""
        found, lines = self.findings, self.case.network.lines
        line = int(found.line[row])
        for at_m in (found.from_m[row], found.to_m[row]) if line >= 0 else ():
            if 0.0 < at_m < lines.length_m[line]:
                return float(lines.station_m(np.array([line]), np.array([at_m]))[0])
        return None

    def said(self) -> str:
        """How much was found."""
        open_ = ~self.standing.accepted
        serious = int((self._is_serious & open_).sum())
        accepted = len(open_) - int(open_.sum())
        more = f"; {accepted:,} accepted" if accepted else ""
        return f"{plural(int(open_.sum()), 'finding')}, {serious:,} serious{more}"

    def _where(self, row: int) -> str:
        found, net = self.findings, self.case.network
        drain, line = int(found.drain[row]), int(found.line[row])
        if drain < 0:
            return NO_DRAIN
        name = name_of(self.case.county, drain)
        if line < 0:
            return name
        show = self.case.units.show_station
        ends = net.lines.station_m(line, np.array([found.from_m[row], found.to_m[row]])).tolist()
        return f"{name}, {show(ends[0])}" + ("" if found.place[row] else f" to {show(ends[1])}")

    def _shown(self, value: float, check: Check) -> str:
        if not check.kind or not np.isfinite(value):
            return ""
        units = self.case.units
        return show_number(value / units.size_si(check.kind), units.name(check.kind))
