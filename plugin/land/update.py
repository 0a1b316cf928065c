"""After an edit: share the land out anew only where pipes that serve land changed.

A pipe without a stated spacing takes it from its neighbours, so a change reaches those within sight; where a
spacing changes, all pipes whose strips meet the strip then or now are measured anew.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from ..network.lines import Lines
from ..network.near import near_any
from ..network.splice import Numbers, Splice
from ..tables import Drains
from .profile import widths
from .served import ServedLand, shared_out
from .spacing import NONE, REACH_IN_SPACINGS, serving_lines, spacings
from .straight import straightened


def update_served(
    old: ServedLand, lines: Lines, drains: Drains, limits: Mapping[str, float], active: np.ndarray, before: np.ndarray
) -> ServedLand:
    """The land of the `active` lines, as `served_land` shares it out.

    `before`: by line, the line of the old lines with the same drain; -1 where it is new or not as it was.
    """
    serving = serving_lines(lines, drains, active)
    same = (before >= 0) & (np.isfinite(old.spacing_m[before]) == serving) if len(old.lines) else before >= 0
    spacing_m = np.where(same, _by_before(old.spacing_m, before, same, np.nan), np.nan)
    source = _by_before(old.spacing_source, before, same, NONE)
    asked = _spacing_may_differ(old, lines, drains, limits, serving, same, before)
    spacing_m[asked], source[asked] = _spacings_of(asked, lines, drains, limits, serving)
    moved = asked & ~(same & (spacing_m == _by_before(old.spacing_m, before, same, np.nan)))
    gone = np.isfinite(old.spacing_m)
    gone[before[same & ~moved]] = False
    few = np.concatenate([_strips(lines, spacing_m, moved), _strips(old.lines, old.spacing_m, gone)])
    wanted = _meeting(lines, spacing_m, few)
    stays = same & ~wanted
    numbers = Numbers(np.full(len(old.lines), -1, dtype=np.int64), np.flatnonzero(~stays))
    numbers.old[before[stays]] = np.flatnonzero(stays)
    line, *measured = _widths_of(wanted, lines, spacing_m)
    count = np.bincount(line, minlength=len(lines))[~stays]
    first, row = Splice(line=numbers).runs("line", old.first, np.concatenate([[0], np.cumsum(count)]))
    stations = (np.concatenate(pair)[row] for pair in zip((old.at_m, old.left_m, old.right_m), measured))
    return shared_out(lines, spacing_m, source, np.repeat(np.arange(len(lines)), np.diff(first)), *stations)


def _by_before(column: np.ndarray, before: np.ndarray, same: np.ndarray, otherwise: object) -> np.ndarray:
    """A column of the old lines by line now."""
    found = np.full(len(before), otherwise, dtype=column.dtype)
    found[same] = column[before[same]]
    return found


def _spacing_may_differ(
    old: ServedLand, lines: Lines, drains: Drains, limits: Mapping[str, float], serving: np.ndarray, same: np.ndarray,
    before: np.ndarray,
) -> np.ndarray:
    """Serving lines that are not as they were, and those without a stated spacing in sight of such, then or now."""
    gone = np.isfinite(old.spacing_m)
    gone[before[same]] = False
    few = np.concatenate([lines.geometry[serving & ~same], old.lines.geometry[gone]])
    asked = serving & ~same
    unstated = np.flatnonzero(serving & same & ~(drains.spacing_m > 0)[lines.drain])
    asked[unstated] = near_any(lines.geometry[unstated], few, _sight_m(limits))
    return asked


def _sight_m(limits: Mapping[str, float]) -> float:
    return REACH_IN_SPACINGS * limits["default_spacing"]


def _spacings_of(
    asked: np.ndarray, lines: Lines, drains: Drains, limits: Mapping[str, float], serving: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Spacing and its source of some lines, with all in sight of them to look at."""
    rows = np.flatnonzero(serving)
    rows = rows[near_any(lines.geometry[rows], lines.geometry[asked], _sight_m(limits)) | asked[rows]]
    spacing_m, source = spacings(lines.some(rows), drains, limits, np.ones(len(rows), dtype=bool))
    return spacing_m[asked[rows]], source[asked[rows]]


def _widths_of(wanted: np.ndarray, lines: Lines, spacing_m: np.ndarray) -> tuple[np.ndarray, ...]:
    """Stations of the wanted lines, with all whose strips meet theirs as rivals."""
    rows = np.flatnonzero(wanted | _meeting(lines, spacing_m, _strips(lines, spacing_m, wanted)))
    line, *stations = widths(straightened(lines.some(rows)), spacing_m[rows])
    line = rows[line]
    return tuple(column[wanted[line]] for column in (line, *stations))


def _strips(lines: Lines, spacing_m: np.ndarray, which: np.ndarray) -> np.ndarray:
    """Boxes (rows of low x, low y, high x, high y) that hold the strips of some lines."""
    half_m = spacing_m[which, None] / 2
    return shapely.bounds(lines.geometry[which]).reshape(-1, 4) + half_m * np.array([-1.0, -1.0, 1.0, 1.0])


def _meeting(lines: Lines, spacing_m: np.ndarray, few: np.ndarray) -> np.ndarray:
    """Serving lines whose strips may meet those in a few boxes."""
    meeting = np.zeros(len(lines), dtype=bool)
    if not len(few):
        return meeting
    serving = np.flatnonzero(np.isfinite(spacing_m))
    strips = _strips(lines, spacing_m, serving)
    low, high = few[:, :2].min(axis=0), few[:, 2:].max(axis=0)
    near = ((strips[:, :2] <= high) & (strips[:, 2:] >= low)).all(axis=1)
    serving, strips = serving[near], strips[near]
    found = shapely.STRtree(shapely.box(*few.T)).query(shapely.box(*strips.T))[0]
    meeting[serving[found]] = True
    return meeting
