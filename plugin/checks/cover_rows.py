"""What shallow-cover and deep-trench share: the ground they need, and what is not known."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..elevation.cover import CoverJudged, Worst
from ..elevation.sources import SOURCE_WORDS, Source
from .case import Case
from .declare import NotChecked, Stretches


def rows_of(case: Case, found: Worst, limit_name: str) -> Stretches:
    """One row a stretch, with how the invert was had."""
    detail = np.array([f"by {SOURCE_WORDS[Source(int(s))]}" for s in found.source], dtype=object)
    return Stretches(
        found.line, found.from_m, found.to_m, value=found.worst_m, limit=case.limits[limit_name], detail=detail
    )


def not_judged(case: Case, judged: CoverJudged, needs_size: bool) -> Iterator[NotChecked]:
    """Drains whose depth is not known, and those whose size is not where it is needed."""
    lines = case.network.lines
    if case.ground is None:
        every = len(np.unique(lines.drain[judged.unknown.line])) == len(case.network.drains_in_network)
        why = case.ground_fault or "No ground raster was given: choose GROUND."
        yield NotChecked(why, None if every else np.unique(lines.drain[judged.unknown.line]))
    elif len(judged.unknown):
        why = "Neither invert nor depth is known, or the ground is missing there: shoot inverts or state depths."
        yield NotChecked(why, np.unique(lines.drain[judged.unknown.line]))
    if needs_size:
        drains = case.network.drains_in_network
        unsized = drains[np.isnan(case.drains.diameter_m[drains])]
        if len(unsized):
            yield NotChecked("The diameter is unknown: enter it, or measure it at the next opening.", unsized)
