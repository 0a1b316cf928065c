"""Run checks over a case; what they say becomes one table of findings.

Three outcomes stay apart: findings about the data, checks that could not be made, and checks that
crashed (a fault of the program, never of the data).
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import pandas

from ..bulk import many_objects
from ..network.ranges import first_of_groups, merge_neighbours
from .case import Case
from .declare import Check, NotChecked, Places, Severity, Stretches

_COLUMNS = (
    "place", "drain", "line", "from_m", "to_m", "x_m", "y_m",
    "value", "limit", "probability", "call", "severity", "detail", "structure", "shot",
)
_ROWS = ("drain", "line", "structure", "shot")


@dataclass(frozen=True)
class Findings:
    """Findings as columns, in SI. `check` is a row of `checks`, `drain` a row of the drains (-1: of none).

    A stretch has `line`, `from_m`, `to_m`; where `place` is true it is a place with `x_m`, `y_m` (NaN where the
    drain has no usable geometry) and, on a pipe, `line` with `from_m` equal to `to_m`. `structure` and `shot` are
    rows of what a place on no pipe belongs to, else -1.
    """

    checks: tuple[Check, ...]
    check: np.ndarray
    place: np.ndarray
    drain: np.ndarray
    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    x_m: np.ndarray
    y_m: np.ndarray
    value: np.ndarray
    limit: np.ndarray
    probability: np.ndarray
    call: np.ndarray
    severity: np.ndarray
    detail: np.ndarray
    structure: np.ndarray
    shot: np.ndarray

    def __len__(self) -> int:
        return len(self.check)

    def where(self, keep: np.ndarray) -> Findings:
        return Findings(self.checks, self.check[keep], *(getattr(self, c)[keep] for c in _COLUMNS))

    @property
    def rank(self) -> np.ndarray:
        """Place of the severity of each finding among all severities: 0 for serious."""
        rank = np.zeros(len(self), dtype=np.int64)
        for place, severity in enumerate(Severity):
            # as an object: by itself numpy would compare with the words "Severity.SERIOUS"
            rank[np.equal(self.severity, np.array(severity, dtype=object))] = place
        return rank

    def of(self, check_id: str) -> Findings:
        """The findings of one check."""
        rows = [k for k, c in enumerate(self.checks) if c.id == check_id]
        return self.where(np.isin(self.check, rows))


@dataclass(frozen=True)
class Skipped:
    """A check that was not made: for which drains (rows, None for all) and why."""

    check: Check
    why: str
    drain: np.ndarray | None


@dataclass(frozen=True)
class Crashed:
    """A check that broke off: what the program said."""

    check: Check
    error: str
    trace: str


@dataclass(frozen=True)
class Results:
    findings: Findings
    not_checked: list[Skipped]
    crashed: list[Crashed]


class CanceledError(Exception):
    """The user stopped the run."""


def run_checks(
    case: Case,
    checks: Iterable[Check],
    progress: Callable[[float], None] = lambda share: None,
    is_canceled: Callable[[], bool] = lambda: False,
) -> Results:
    """Run every check; one that crashes is listed and the others go on. Raises CanceledError when told to stop."""
    checks = tuple(checks)
    tables, skipped, crashed = [], [], []
    for number, one in enumerate(checks):
        if is_canceled():
            raise CanceledError
        try:
            with many_objects():
                said = list(one.function(case))
            found = [s for s in said if not isinstance(s, NotChecked)]
            tables.append(_table(case, number, one, found))
        except Exception as error:  # a fault of the program; the other checks still stand
            crashed.append(Crashed(one, f"{type(error).__name__}: {error}", traceback.format_exc()))
            said = []
        skipped += _skipped(case, one, [s for s in said if isinstance(s, NotChecked)])
        progress((number + 1) / len(checks))
    return Results(_findings(checks, tables), skipped, crashed)


def _skipped(case: Case, one: Check, said: list[NotChecked]) -> list[Skipped]:
    """One entry a reason; without drains where it holds for every drain in the network."""
    by_why: dict[str, list[np.ndarray | None]] = {}
    for entry in said:
        by_why.setdefault(entry.why, []).append(entry.drain)
    found = []
    for why, rows in by_why.items():
        drain = None
        if all(row is not None for row in rows):
            drain = np.unique(np.concatenate(rows)).astype(np.int64)
            if not len(drain):
                continue
            drain = None if np.array_equal(drain, case.network.drains_in_network) else drain
        found.append(Skipped(one, why, drain))
    return found


def _findings(checks: tuple[Check, ...], tables: list[dict[str, np.ndarray]]) -> Findings:
    tables = tables or [_empty()]
    columns = {c: np.concatenate([t[c] for t in tables]) for c in ("check", *_COLUMNS)}
    return Findings(checks, **columns)


def _empty() -> dict[str, np.ndarray]:
    numbers = {c: np.zeros(0) for c in _COLUMNS}
    words = {c: np.zeros(0, dtype=object) for c in ("call", "severity", "detail")}
    rows = {c: np.zeros(0, dtype=np.int64) for c in ("check", *_ROWS)}
    return {**numbers, **words, **rows, "place": np.zeros(0, dtype=bool)}


def _table(case: Case, number: int, one: Check, said: list[Stretches | Places]) -> dict[str, np.ndarray]:
    touch_m = case.network.touch_m
    parts = [_stretches(one, s, touch_m) if isinstance(s, Stretches) else _places(one, s) for s in said] or [_empty()]
    table = {c: np.concatenate([p[c] for p in parts]) for c in _COLUMNS}
    table["check"] = np.full(len(table["line"]), number, dtype=np.int64)
    on_line = table["line"] >= 0
    table["drain"][on_line] = case.network.lines.drain[table["line"][on_line]]
    return table


def _spread(value: object, count: int, kind: type) -> np.ndarray:
    out = np.empty(count, dtype=kind)
    out[:] = value
    return out


def _common(one: Check, said: Stretches | Places, count: int) -> dict[str, np.ndarray]:
    severity = one.severity if said.severity is None else said.severity
    severity = [Severity(s) for s in severity] if np.ndim(severity) else Severity(severity)
    return {
        "value": _spread(said.value, count, float),
        "limit": _spread(said.limit, count, float),
        "probability": _spread(said.probability, count, float),
        "call": _spread(said.call, count, object),
        "severity": _spread(severity, count, object),
        "detail": _spread(said.detail, count, object),
    }


def _stretches(one: Check, said: Stretches, touch_m: float) -> dict[str, np.ndarray]:
    """Neighbouring stretches of one line with the same call, severity and detail become one row."""
    count = len(said.line)
    table = _common(one, said, count)
    if not count:
        return _empty()
    kind = np.zeros(count, dtype=np.int64)
    for column in ("call", "severity", "detail"):
        code, words = pandas.factorize(table[column])
        kind = kind * (len(words) + 1) + code
    order, group = merge_neighbours(said.line, said.from_m, said.to_m, kind, touch_m)
    first = first_of_groups(group)
    rows = order[_worst(one, table["value"][order], group, first)]
    out = {c: column[rows] for c, column in table.items()}
    out["probability"] = np.fmax.reduceat(table["probability"][order], first)
    out["line"] = np.asarray(said.line, dtype=np.int64)[rows]
    out["from_m"] = np.minimum.reduceat(np.asarray(said.from_m, dtype=float)[order], first)
    out["to_m"] = np.maximum.reduceat(np.asarray(said.to_m, dtype=float)[order], first)
    out["x_m"] = out["y_m"] = np.full(len(rows), np.nan)
    out["place"] = np.zeros(len(rows), dtype=bool)
    for name in ("drain", "structure", "shot"):
        out[name] = np.full(len(rows), -1, dtype=np.int64)
    along = np.lexsort((out["from_m"], out["line"]))
    return {c: column[along] for c, column in out.items()}


def _worst(one: Check, value: np.ndarray, group: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Row (in sorted order) whose value stands for each group."""
    if not one.worst:
        return first
    rank = np.where(np.isfinite(value), value if one.worst == "min" else -value, np.inf)
    return np.lexsort((rank, group))[first]


def _places(one: Check, said: Places) -> dict[str, np.ndarray]:
    table = _common(one, said, len(said.line))
    xy = np.asarray(said.xy_m, dtype=float).reshape(-1, 2)
    table["line"] = np.asarray(said.line, dtype=np.int64)
    table["from_m"] = table["to_m"] = np.where(table["line"] >= 0, said.at_m, np.nan)
    table["x_m"], table["y_m"] = xy[:, 0], xy[:, 1]
    table["place"] = np.ones(len(said.line), dtype=bool)
    for name in ("drain", "structure", "shot"):
        row = getattr(said, name)
        table[name] = _spread(-1 if row is None else row, len(said.line), np.int64)
    return table
