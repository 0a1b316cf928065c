"""Results put together from what was said of all before an edit and what is said of a part after it."""

from __future__ import annotations

import numpy as np

from ..network.network import Network
from ..network.splice import Splice, columns_of
from .declare import Check
from .run import Findings, Results, Skipped

_SPEAKS_OF = ("drain", "line", "structure", "shot")


def spliced_findings(
    old: Findings, part: Findings, far: Findings, splice: Splice, asked: np.ndarray
) -> Findings:
    """What was found of the rest before, in the part, and by checks that look far of the drains `asked` (a mask)."""
    count = len(old.check)
    now = {name: splice.numbers[name].of(getattr(old, name), getattr(part, name)) for name in _SPEAKS_OF}
    stays = np.ones(count, dtype=bool)
    for name in _SPEAKS_OF:
        stays &= (getattr(old, name) < 0) | (now[name][:count] >= 0)
    drain = now["drain"][:count]
    looks_far = np.array([check.looks_far for check in old.checks], dtype=bool)
    stays &= ~(looks_far[old.check] & (drain >= 0) & asked[drain])
    rows = np.concatenate([stays, np.ones(len(part) + len(far), dtype=bool)])
    columns = {}
    for name, before in columns_of(old).items():
        if name != "checks":
            ours = now[name] if name in now else np.concatenate([before, _column(part, name, old.checks)])
            columns[name] = np.concatenate([ours, _column(far, name, old.checks)])[rows]
    order = np.argsort(columns["check"], kind="stable")
    return Findings(old.checks, **{name: column[order] for name, column in columns.items()})


def _column(findings: Findings, name: str, checks: tuple[Check, ...]) -> np.ndarray:
    """A column; checks by their number among all."""
    column = getattr(findings, name)
    if name != "check":
        return column
    return np.array([checks.index(check) for check in findings.checks], dtype=np.int64)[column]


def spliced_not_checked(
    told: list[tuple[Results, Network, np.ndarray]], now: Network, checks: tuple[Check, ...]
) -> list[Skipped]:
    """One entry a check and reason, as run_checks makes them.

    `told`: results with the network they are of, and the row now (-1: gone) of each of its drains; the first is all
    that was told before.
    """
    entries: dict[tuple[Check, str], list[tuple[bool, np.ndarray]]] = {}
    for results, network, row in told:
        for skipped in results.not_checked:
            drains = network.drains_in_network if skipped.drain is None else skipped.drain
            entries.setdefault((skipped.check, skipped.why), []).append((skipped.drain is None, row[drains]))
    found = []
    for (check, why), parts in entries.items():
        drain = np.unique(np.concatenate([rows for _, rows in parts]))
        drain = drain[drain >= 0]
        of_all = len(parts) > 1 and all(every for every, _ in parts)
        if of_all or np.array_equal(drain, now.drains_in_network):
            found.append(Skipped(check, why, None))
        elif len(drain):
            found.append(Skipped(check, why, drain))
    return sorted(found, key=lambda skipped: checks.index(skipped.check))
