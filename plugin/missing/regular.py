"""Gaps in a comb that are wide among regular ones."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..limits import Limits
from .combs import Combs

_AROUND = 4  # gaps looked at on either side
_WIDE = 1.6  # spacings from which a gap is wide
_LIKE = 1.4  # spacings up to which the gap next to it is a plain one
_MOST_WIDE = 0.25  # share of the gaps around that may be wide too where laterals are missing
_SCATTERS = 4.0  # a wide gap stands out by so many times the scatter of the others
_TO_SIGMA = 1.4826  # of the median distance from the median


@dataclass(frozen=True)
class WideGaps:
    """The lines on both sides of wide gaps, how wide, how many spacings, and what the gaps around are.

    `usual_m` is the middle of `seen` gaps around, `scatter` their scatter as a share of it, `wide_too` how many of them
    are wide as well; `both_sides`: whether the row goes on regularly on either side.
    """

    one: np.ndarray
    other: np.ndarray
    one_turned: np.ndarray
    other_turned: np.ndarray
    gap_m: np.ndarray
    count: np.ndarray
    usual_m: np.ndarray
    scatter: np.ndarray
    seen: np.ndarray
    wide_too: np.ndarray
    both_sides: np.ndarray

    def __len__(self) -> int:
        return len(self.one)

    @property
    def may_be_laid_so(self) -> np.ndarray:
        """Whether wide gaps come so often in the row that they may be its rule, as in pairs of laterals."""
        return (self.wide_too >= 2) & (self.wide_too > _MOST_WIDE * self.seen)

    def where(self, keep: np.ndarray) -> WideGaps:
        return WideGaps(*(getattr(self, f.name)[keep] for f in fields(WideGaps)))


def wide_gaps(combs: Combs, limits: Limits) -> WideGaps:
    """Gaps that are two or more of the spacings around them, by one lateral or a few in a row; the more are missing,
    the more regular gaps must tell.

    A row whose spacing changes along it has no wide gap where it changes: gaps as wide go on from there.
    """
    around = _gaps_around(combs)
    seen = np.isfinite(around).sum(axis=1)
    usual_m, scatter = _middle_and_scatter(around)
    with np.errstate(invalid="ignore"):
        times = combs.gap_m / usual_m
        count = np.round(np.nan_to_num(times, nan=0.0, posinf=0.0))
        fits = np.abs(times - count) / np.maximum(count, 1.0) <= limits["gap_misfit"]
        stands_out = (times >= _WIDE) & (times >= 1.0 + _SCATTERS * scatter) & (scatter <= limits["gap_regular"])
        wide = fits & stands_out & (count >= 2) & (count <= limits["gap_most_teeth"] + 1) & (seen >= count)
        wide_too = (around >= _WIDE * usual_m[:, None]).sum(axis=1)
    plain, both = _stands_among_plain(combs, wide, usual_m)
    row = np.flatnonzero(wide & plain)
    return WideGaps(
        combs.line[row], combs.line[row + 1], combs.turned[row], combs.turned[row + 1], combs.gap_m[row],
        count[row].astype(np.int64), usual_m[row], scatter[row], seen[row], wide_too[row],
        both[row],
    )


def _gaps_around(combs: Combs) -> np.ndarray:
    """For each gap those next to it in its comb, NaN where there is none."""
    count = len(combs)
    steps = np.array([step for step in range(-_AROUND, _AROUND + 1) if step])
    other = np.arange(count)[:, None] + steps
    inside = (other >= 0) & (other < count)
    other = np.clip(other, 0, max(count - 1, 0))
    if not count:
        return np.zeros((0, len(steps)))
    return np.where(inside & (combs.comb[other] == combs.comb[:, None]), combs.gap_m[other], np.nan)


def _middle_and_scatter(around: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    middle = _median(around)
    return middle, _TO_SIGMA * _median(np.abs(around - middle[:, None])) / middle


def _median(table: np.ndarray) -> np.ndarray:
    """Median of the known figures of each row, NaN where there is none."""
    table = np.sort(table, axis=1)  # NaN goes last
    count = np.isfinite(table).sum(axis=1)
    row = np.arange(len(table))
    low, high = np.maximum(count - 1, 0) // 2, np.minimum(count // 2, table.shape[1] - 1)
    return np.where(count > 0, (table[row, low] + table[row, high]) / 2, np.nan)


def _stands_among_plain(combs: Combs, wide: np.ndarray, usual_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether the row goes on plainly beside a wide gap, and whether it does on both sides.

    At the end of a row one side is enough; two wide gaps side by side need plain ones on both.
    """
    before, after = _next_is_plain(combs, wide, usual_m, -1), _next_is_plain(combs, wide, usual_m, 1)
    both = (before == 1) & (after == 1)
    # 1: plain; 0: the row ends; -1: a gap of another size; 2: plain behind one more wide gap
    single = both | ((before == 1) & (after == 0)) | ((before == 0) & (after == 1))
    double = ((before == 2) & (after == 1)) | ((before == 1) & (after == 2))
    return single | double, both


def _next_is_plain(combs: Combs, wide: np.ndarray, usual_m: np.ndarray, side: int) -> np.ndarray:
    near, far = _kind_at(combs, wide, usual_m, side), _kind_at(combs, wide, usual_m, 2 * side)
    return np.where(near == 2, np.where(far == 1, 2, -1), near)


def _kind_at(combs: Combs, wide: np.ndarray, usual_m: np.ndarray, step: int) -> np.ndarray:
    """The gap some steps on: 1 plain, 2 wide, -1 another, 0 none."""
    count = len(combs)
    other = np.arange(count) + step
    inside = (other >= 0) & (other < count)
    other = np.clip(other, 0, max(count - 1, 0))
    if not count:
        return np.zeros(0, dtype=np.int64)
    there = inside & (combs.comb[other] == combs.comb) & np.isfinite(combs.gap_m[other])
    with np.errstate(invalid="ignore"):
        times = combs.gap_m[other] / usual_m
        plain = (times <= _LIKE) & (times >= 2.0 - _LIKE)
    return np.where(~there, 0, np.where(plain, 1, np.where(wide[other], 2, -1)))
