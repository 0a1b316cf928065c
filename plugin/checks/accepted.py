"""Findings somebody lets stand: of which of them the table `accepted` speaks, and which came back.

A row speaks of a finding where check and drain are the same and both lie at the same stations. The finding is accepted
as long as it is what was accepted: it comes back where its value is worse, where it reaches farther along the pipe, or
where one of the two figures is unknown. A row with no stations speaks of its drain as a whole. Findings of no drain can
be told apart by nothing in the table: they come back, all of one check, where there are more of them than rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas
import shapely

from ..limits import Limits
from ..network.network import Network
from ..tables import words
from ..units import Units
from .declare import Check
from .run import Findings

_TABLE_DIGITS = 1e-6  # figures in tables are rounded to these
_FAR_M = 1e9  # farther than any pipe is long
_WORDS = ("check", "drain_id", "reason", "accepted_by", "accepted_on")
_FIGURES = ("station_from", "station_to", "value")

COVERED, WORSE, LONGER, MORE, OTHER = range(5)
"""What a row is to a finding: it covers it, or the value is worse, the stretch longer, there are more findings of no
drain than rows, or a figure is known where none was accepted or the other way round."""


@dataclass(frozen=True)
class AcceptedRows:
    """The table `accepted` as columns. Stations in metres; `value` in the unit of the check's findings, as written.

    Unknown is None and NaN. `number`: of the feature, -1 where it is not known; `on`: the day or moment as ISO 8601.
    """

    number: np.ndarray
    check: np.ndarray
    drain_id: np.ndarray
    reason: np.ndarray
    by: np.ndarray
    on: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    value: np.ndarray

    def __len__(self) -> int:
        return len(self.number)

    @classmethod
    def of(cls, rows: Iterable[Mapping[str, object]], units: Units) -> AcceptedRows:
        """Rows under the archive's names, in its units; `number` may be left out."""
        frame = pandas.DataFrame(list(rows), columns=["number", *_WORDS, *_FIGURES], dtype=object)
        text = [words(frame, name) for name in _WORDS]
        number, from_, to, value = (
            pandas.to_numeric(frame[name], errors="coerce").to_numpy(dtype=float) for name in ("number", *_FIGURES)
        )
        number = np.nan_to_num(number, nan=-1).astype(np.int64)
        return cls(number, *text, from_ * units.length_m, to * units.length_m, value)


NO_ROWS = AcceptedRows.of((), Units())


@dataclass(frozen=True)
class Standing:
    """By finding: `row` is the row that speaks of it (-1: none), `is_` what that row is to it (COVERED and so on).

    `count`: how many findings a row that speaks of no drain would have to cover.
    """

    rows: AcceptedRows
    row: np.ndarray
    is_: np.ndarray
    count: np.ndarray

    @property
    def accepted(self) -> np.ndarray:
        return (self.row >= 0) & (self.is_ == COVERED)

    @property
    def returned(self) -> np.ndarray:
        return (self.row >= 0) & (self.is_ != COVERED)

    def where(self, keep: np.ndarray) -> Standing:
        return Standing(self.rows, self.row[keep], self.is_[keep], self.count[keep])

    @classmethod
    def none(cls, count: int) -> Standing:
        """Nothing is accepted."""
        return cls(NO_ROWS, np.full(count, -1), np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64))


def judge_accepted(
    findings: Findings, network: Network, rows: AcceptedRows, limits: Limits, units: Units
) -> Standing:
    """How every finding stands to the table. Of several rows one that covers it, then the latest, speaks of it."""
    standing = Standing.none(len(findings))
    if not len(findings) or not len(rows):
        return standing
    near_m, grown_m, share = (limits[name] for name in ("accepted_near", "accepted_grown", "accepted_worse"))
    key_of_finding, key_of_row = _keys(findings, network, rows)
    from_m, to_m = _stations(findings, network)
    spans = _Spans(key_of_finding, from_m, to_m), _Spans(key_of_row, *_given(rows.from_m, rows.to_m))
    finding, row = _pairs(*spans, near_m)
    value = findings.value / _sizes(findings.checks, units)[findings.check]
    is_ = _against(value[finding], rows.value[row], _worst(findings.checks)[findings.check[finding]], share)
    longer = (from_m[finding] < spans[1].from_m[row] - grown_m) | (to_m[finding] > spans[1].to_m[row] + grown_m)
    is_[(is_ == COVERED) & longer] = LONGER
    finding, row, is_, count = _with_no_drain(findings, rows, finding, row, is_)
    on = pandas.factorize(np.where(np.equal(rows.on, None), "", rows.on), sort=True)[0]
    order = np.lexsort((row, on[row], is_ == COVERED, finding))
    last = order[np.append(np.diff(finding[order]) > 0, True)] if len(order) else order
    standing.row[finding[last]] = row[last]
    standing.is_[finding[last]] = is_[last]
    standing.count[finding[last]] = count[last]
    return Standing(rows, standing.row, standing.is_, standing.count)


@dataclass(frozen=True)
class _Spans:
    """Stretches of what has the same `key` (-1: of nothing that can be met)."""

    key: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray


def _keys(findings: Findings, network: Network, rows: AcceptedRows) -> tuple[np.ndarray, np.ndarray]:
    """A number for each check and drain of the rows; -1 for others and for those of no drain."""
    has_drain = ~np.equal(rows.drain_id, None)
    ids = pandas.Index(pandas.unique(rows.drain_id[has_drain]))
    checks = pandas.Index([check.id for check in findings.checks])
    check, drain = checks.get_indexer(rows.check), ids.get_indexer(rows.drain_id)
    of_row = np.where((check >= 0) & has_drain, check * len(ids) + drain, -1)
    on_drain = np.flatnonzero(findings.drain >= 0)
    of_finding = np.full(len(findings), -1)
    drain = ids.get_indexer(network.drains.drain_id[findings.drain[on_drain]])
    of_finding[on_drain] = np.where(drain >= 0, findings.check[on_drain] * len(ids) + drain, -1)
    return of_finding, of_row


def _stations(findings: Findings, network: Network) -> tuple[np.ndarray, np.ndarray]:
    """Along the drain as drawn; of a drain without usable geometry all there is."""
    ends = np.full((2, len(findings)), np.nan)
    on = np.flatnonzero(findings.line >= 0)
    for end, at_m in zip(ends, (findings.from_m, findings.to_m)):
        end[on] = network.lines.station_m(findings.line[on], at_m[on])
    return _given(*ends)


def _given(from_m: np.ndarray, to_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stations in order; one of two is a place, none is the whole pipe."""
    first, last = np.fmin(from_m, to_m), np.fmax(from_m, to_m)
    return np.where(np.isnan(first), -_FAR_M, first), np.where(np.isnan(last), _FAR_M, last)


def _pairs(found: _Spans, said: _Spans, near_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Findings and rows at the same stations: stretches overlap, a place lies no farther than `near_m` away."""
    a, b = np.flatnonzero(found.key >= 0), np.flatnonzero(said.key >= 0)
    if not len(a) or not len(b):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    tree = shapely.STRtree(shapely.box(said.from_m[b], said.key[b] - 0.25, said.to_m[b], said.key[b] + 0.25))
    asked = shapely.box(found.from_m[a] - near_m, found.key[a] - 0.25, found.to_m[a] + near_m, found.key[a] + 0.25)
    one, other = tree.query(asked)
    one, other = a[one], b[other]
    place = (found.from_m[one] == found.to_m[one]) | (said.from_m[other] == said.to_m[other])
    shared_m = np.minimum(found.to_m[one], said.to_m[other]) - np.maximum(found.from_m[one], said.from_m[other])
    met = np.where(place, shared_m >= -near_m, shared_m > 0.0)
    return one[met], other[met]


def _against(value: np.ndarray, accepted: np.ndarray, worst: np.ndarray, share: float) -> np.ndarray:
    """COVERED, WORSE or OTHER by pair; where no direction is the worse one, any other value is."""
    beyond = value - accepted
    beyond = np.where(worst == 0, np.abs(beyond), worst * beyond)
    is_ = np.where(beyond > share * np.abs(accepted) + _TABLE_DIGITS, WORSE, COVERED)
    is_[np.isnan(value) != np.isnan(accepted)] = OTHER
    return is_


def _with_no_drain(
    findings: Findings, rows: AcceptedRows, finding: np.ndarray, row: np.ndarray, is_: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The pairs, with those of findings of no drain: each with the last row of its check; and the count of each."""
    parts = [(finding, row, is_, np.ones(len(finding), dtype=np.int64))]
    for place, check in enumerate(findings.checks):
        found = np.flatnonzero((findings.check == place) & (findings.drain < 0))
        said = np.flatnonzero((rows.check == check.id) & np.equal(rows.drain_id, None)) if len(found) else found
        if len(said):
            what = MORE if len(found) > len(said) else COVERED
            parts.append((found, *(np.full(len(found), one) for one in (said[-1], what, len(found)))))
    return tuple(np.concatenate(column) for column in zip(*parts))


def _sizes(checks: Sequence[Check], units: Units) -> np.ndarray:
    return np.array([units.size_si(check.kind) if check.kind else 1.0 for check in checks])


def _worst(checks: Sequence[Check]) -> np.ndarray:
    return np.array([{"max": 1, "min": -1}.get(check.worst, 0) for check in checks])

