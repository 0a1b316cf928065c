"""What shallow-cover and deep-trench share: the ground they need, and what is not known."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..elevation.cover import CoverJudged, Worst
from ..elevation.grade import p_reverse
from ..elevation.sources import SOURCE_WORDS, Source
from .case import Case
from .declare import NotChecked, Stretches
from .reasons import no_size

_BY_SOURCE = np.array([f"by {SOURCE_WORDS[source]}" for source in Source], dtype=object)


def rows_of(case: Case, found: Worst, limit_name: str, limit_is_least: bool) -> Stretches:
    """One row a stretch, with how the invert was had; how likely the worst place of it is beyond the limit."""
    limit_m = case.limits[limit_name]
    detail = _BY_SOURCE[found.source]
    room_m = found.worst_m - limit_m if limit_is_least else limit_m - found.worst_m
    return Stretches(
        found.line, found.from_m, found.to_m, value=found.worst_m, limit=limit_m,
        probability=p_reverse(room_m, found.sigma_m), detail=detail,
    )


def not_judged(case: Case, judged: CoverJudged, needs_size: bool) -> Iterator[NotChecked]:
    """Drains whose depth is not known, and those whose size is not where it is needed."""
    why = "Neither invert nor depth is known, or the ground is missing there: shoot inverts or state depths."
    if case.ground is None:
        why = case.ground_fault or "No ground raster was given: choose GROUND, or state depths."
    yield NotChecked(why, case.network.lines.drain[judged.unknown.line])
    if needs_size:
        yield no_size(case, case.network.drains_in_network)
