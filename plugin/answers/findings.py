"""Findings to work through: grouped by what is wrong, worst first, filtered; and what there is to know of each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from ..checks.case import Case
from ..checks.declare import Check, Severity
from ..checks.run import Findings
from ..report.markup import plural, show_number, show_probability
from ..report.order import worst_first
from ..result_tables import finding_shapes, source_of
from .answer import Answer, Section
from .pipe import name_of

NO_DRAIN = "the whole network"


@dataclass(frozen=True)
class FindingGroup:
    """What one check found: rows of the findings, worst first."""

    check: Check
    rows: np.ndarray


@dataclass(frozen=True)
class FindingsView:
    """All findings of a run over `case`."""

    case: Case
    findings: Findings

    @cached_property
    def _order(self) -> np.ndarray:
        return worst_first(self.findings)

    @cached_property
    def shapes(self) -> np.ndarray:
        """Where each finding lies, in metres: a line, a point, or None."""
        return finding_shapes(self.case.county, self.findings)

    def groups(
        self, severity: Severity | None = None, box_m: tuple[float, float, float, float] | None = None
    ) -> list[FindingGroup]:
        """Groups of what is of a severity and touches a box (None: all), in the order of their worst finding."""
        keep = np.ones(len(self.findings), dtype=bool)
        if severity is not None:
            keep &= np.array([one == severity for one in self.findings.severity], dtype=bool)
        if box_m is not None:
            keep &= shapely.intersects(self.shapes, shapely.box(*box_m))
        rows = self._order[keep[self._order]]
        check = self.findings.check[rows]
        found, first = np.unique(check, return_index=True)
        return [FindingGroup(self.findings.checks[k], rows[check == k]) for k in found[np.argsort(first)].tolist()]

    def cells(self, row: int) -> tuple[str, str, str]:
        """Where, value and limit of a finding, for a line of a table."""
        found, check = self.findings, self.findings.checks[self.findings.check[row]]
        return self._where(row), self._shown(found.value[row], check), self._shown(found.limit[row], check)

    def why(self, row: int) -> Answer:
        """What is wrong there, what to do, by which limit, from what source, and when it is a false alarm."""
        found, check = self.findings, self.findings.checks[self.findings.check[row]]
        facts = [str(found.detail[row])] if found.detail[row] else []
        if np.isfinite(found.value[row]):
            limit = f", limit {self._shown(found.limit[row], check)}" if np.isfinite(found.limit[row]) else ""
            facts.append(f"Value {self._shown(found.value[row], check)}{limit}.")
        if np.isfinite(found.probability[row]):
            facts.append(f"Probability {show_probability(found.probability[row])}.")
        return Answer(f"{check.title}: {self._where(row)}", (
            Section("What to do", (check.remedy,)),
            Section("Facts", tuple(facts)),
            Section("By what rule", (source_of(check, self.case.county),)),
            Section("When it is a false alarm", (check.false_alarm,)),
        ))

    def box_m(self, row: int) -> tuple[float, float, float, float] | None:
        """The box around a finding; None where it has no place."""
        shape = self.shapes[row]
        return None if shape is None else tuple(shapely.bounds(shape).tolist())

    def said(self) -> str:
        """How much was found."""
        serious = int(sum(one == Severity.SERIOUS for one in self.findings.severity))
        return f"{plural(len(self.findings), 'finding')}, {serious:,} serious"

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
