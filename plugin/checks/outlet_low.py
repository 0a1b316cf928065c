"""outlet-low: an outlet so low that the ditch stands in it or silts it up."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import NotChecked, Places, Severity, check
from .outlets import outlet_pipes

_MEASURES = (
    ("water_level_m", "outlet_above_water", "above normal water"),
    ("bed_level_m", "outlet_above_bed", "above the bottom of the ditch"),
)


@check(
    id="outlet-low",
    title="Outlet lies too low above the ditch",
    remedy="Have the ditch cleaned down to grade, or bring the outlet in higher; ask the drainage board first.",
    false_alarm="Levels of the ditch after rain, or from another datum than the invert.",
    severity=Severity.DOUBT,
    source="invert of the outlet against the receiving water",
    kind="length",
    limits=("outlet_above_bed", "outlet_above_water"),
    worst="min",
)
def outlet_low(case: Case) -> Iterator[Places | NotChecked]:
    """Value: invert above normal water, or above the bed; one row for each that is too little.

    Serious where the outlet lies below it, a doubt where it is only nearer than it should be.
    """
    found, structures = outlet_pipes(case), case.network.structures
    marked = found.structure >= 0
    row = np.where(marked, found.structure, 0)
    pipe = case.network.levels.level_at(found.line, found.at_m)
    own = structures.invert_m[row] if len(structures) else np.full(len(row), np.nan)
    invert = np.where(marked & np.isfinite(own), own, pipe)
    unknown = np.isnan(invert)
    for column, limit, words in _MEASURES:
        level = getattr(structures, column)[row] if len(structures) else np.full(len(row), np.nan)
        level = np.where(marked, level, np.nan)
        height = invert - level
        low = np.flatnonzero(height < case.limits[limit] - 1e-9)
        detail = np.array([f"{case.units.show_length(h, 2)} {words}" for h in height[low]], dtype=object)
        severity = np.where(height[low] <= 0.0, Severity.SERIOUS.value, Severity.DOUBT.value).astype(object)
        yield Places(
            found.line[low], found.at_m[low], found.xy_m[low], value=height[low], limit=case.limits[limit],
            severity=severity, detail=detail,
        )
        unknown |= np.isnan(level)
    why = "The invert of the outlet, or the water or bed level of the ditch, is not recorded: shoot and enter them."
    yield NotChecked(why, case.network.lines.drain[found.line[unknown]])
