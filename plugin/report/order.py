"""Findings worst first, grouped by check and counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..checks.declare import Severity
from ..checks.run import Findings, Skipped
from ..limits import Limits
from ..network.network import Network
from ..tables import Drains
from .content import Figure, Group, Missed, Row, SeverityCount

SEVERITIES = tuple(Severity)
ROWS_SHOWN = 20
EXAMPLES_SHOWN = 5
_NO_FIGURES: Mapping[str, tuple[Figure, ...]] = {}


def worst_first(findings: Findings) -> np.ndarray:
    """Rows of findings by severity, then probability (none counts as sure), then size against the limit."""
    sure = np.where(np.isnan(findings.probability), 1.0, findings.probability)
    return np.lexsort((-_excess(findings), -sure, findings.rank))


def _excess(findings: Findings) -> np.ndarray:
    """How far each value is beyond its limit, in limits; in SI where there is no limit, last where no value is.

    The larger value is the worse one unless the check says "min".
    """
    direction = np.array([-1.0 if one.worst == "min" else 1.0 for one in findings.checks])
    sign = direction[findings.check] if len(findings.checks) else np.zeros(len(findings))
    known = np.isfinite(findings.limit) & (findings.limit != 0)
    beyond = findings.value - np.where(np.isfinite(findings.limit), findings.limit, 0.0)
    return np.nan_to_num(sign * beyond / np.where(known, np.abs(findings.limit), 1.0), nan=-np.inf)


def count_severities(findings: Findings) -> tuple[SeverityCount, ...]:
    """Findings and drains of every severity, also of those that were not found."""
    rank = findings.rank
    return tuple(
        SeverityCount(severity, int((rank == place).sum()), _drain_count(findings.drain[rank == place]))
        for place, severity in enumerate(SEVERITIES)
    )


def _drain_count(drain: np.ndarray) -> int:
    return len(np.unique(drain[drain >= 0]))


def group_findings(
    findings: Findings,
    network: Network,
    limits: Limits,
    figures: Mapping[str, tuple[Figure, ...]] = _NO_FIGURES,
    rows_shown: int = ROWS_SHOWN,
) -> tuple[Group, ...]:
    """One group a check that found something: by its worst severity, then as declared; `figures` go by check id."""
    order, rank = worst_first(findings), findings.rank
    groups = []
    for place, check in enumerate(findings.checks):
        rows = order[findings.check[order] == place]
        if not len(rows):
            continue
        counts = np.bincount(rank[rows], minlength=len(SEVERITIES))
        kinds = ((~findings.place, "LINE_FINDINGS"), (findings.place, "POINT_FINDINGS"))
        group = Group(
            check,
            tuple(_row(findings, network, row) for row in rows[:rows_shown]),
            len(rows),
            _drain_count(findings.drain[rows]),
            tuple((severity, int(count)) for severity, count in zip(SEVERITIES, counts) if count),
            tuple(layer for inside, layer in kinds if inside[rows].any()),
            tuple(limits.of(name) for name in check.limits),
            tuple(figures.get(check.id, ())),
        )
        groups.append((rank[rows[0]], place, group))
    return tuple(group for *_, group in sorted(groups, key=lambda one: one[:2]))


def _row(findings: Findings, network: Network, row: int) -> Row:
    line, drain = findings.line[row], findings.drain[row]
    station = np.full(2, np.nan)
    if line >= 0:
        station = network.lines.station_m(line, np.array([findings.from_m[row], findings.to_m[row]]))
    return Row(
        name=str(network.drains.name[drain]) if drain >= 0 else "",
        drain_id=str(network.drains.drain_id[drain]) if drain >= 0 else "",
        severity=Severity(findings.severity[row]),
        call=str(findings.call[row]),
        from_m=float(station[0]),
        to_m=float(station[1]),
        value=float(findings.value[row]),
        limit=float(findings.limit[row]),
        probability=float(findings.probability[row]),
        detail=str(findings.detail[row] or ""),
        xy_m=(float(findings.x_m[row]), float(findings.y_m[row])),
    )


def missed_checks(skipped: Sequence[Skipped], drains: Drains) -> tuple[Missed, ...]:
    """What could not be checked: one entry a check and reason, with the number of drains and some names."""
    gathered: dict[tuple[str, str], list[np.ndarray | None]] = {}
    for one in skipped:
        gathered.setdefault((one.check.title, one.why), []).append(one.drain)
    missed = []
    for (title, why), rows in gathered.items():
        if any(row is None for row in rows):
            missed.append(Missed(title, why))
            continue
        drain = np.unique(np.concatenate([np.asarray(row, dtype=np.int64) for row in rows]))
        examples = tuple(str(name) for name in drains.name[drain[:EXAMPLES_SHOWN]])
        missed.append(Missed(title, why, len(drain), examples))
    return tuple(missed)
