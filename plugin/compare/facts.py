"""Lines that are in the archive as drawn: whether what is known of them is the same."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..schema import layer
from ..tables import Drains
from .found import Found
from .given import Settings
from .shapes import Drawn

_WORDS = ("role", "status", "material", "openings", "evidence", "located_by")
_FIGURES = ("diameter", "spacing", "invert_error", "invert_start", "invert_end", "depth_start", "depth_end")
_SAME_M = 0.0005  # figures nobody can tell apart


def compare_facts(old: Drains, layout: Drains, drawn: Drawn, settings: Settings) -> Iterator[Found]:
    """Lines with a drain of the same shape and the same key, or none: identical, or with other facts.

    What the layout does not know is no difference. Both are drawn in one direction (drawn.as_the_archive).
    """
    rows = np.flatnonzero((drawn.same_shape >= 0) & ((drawn.same_key < 0) | (drawn.same_key == drawn.same_shape)))
    drain = drawn.same_shape[rows]
    differences = [[] for _ in rows]
    for name in (*_WORDS, *_FIGURES):
        for place, sentence in _differences(name, old, drain, layout, rows, settings):
            differences[place].append(sentence)
    other = np.array([bool(found) for found in differences], dtype=bool)
    told = np.array(["; ".join(found) for found in differences] or [None], dtype=object)[: len(rows)]
    keys = old.drain_id[drain]
    yield Found.of("other-facts", rows[other], np.nan, keys[other], told[other])
    named = [f"the archive's {name}" for name in old.name[drain[~other]]]
    yield Found.of("identical", rows[~other], np.nan, keys[~other], named)


def _differences(
    name: str, old: Drains, drain: np.ndarray, layout: Drains, rows: np.ndarray, settings: Settings
) -> Iterator[tuple[int, str]]:
    """Where a fact of the layout is another one than the archive's, with a clause that says both."""
    field = layer("drains").field(name)
    told = field.alias.lower()
    if name in _WORDS:
        ours, theirs = getattr(layout, name)[rows], getattr(old, name)[drain]
        for place in np.flatnonzero(~np.equal(ours, None) & (ours != theirs)):
            yield int(place), f"{told}: {_word(field, ours[place])}, archive {_word(field, theirs[place])}"
        return
    ours, theirs = getattr(layout, f"{name}_m")[rows], getattr(old, f"{name}_m")[drain]
    size, unit = settings.units.size_si(field.unit), settings.units.name(field.unit)
    same = np.abs(ours - theirs) <= _SAME_M
    for place in np.flatnonzero(np.isfinite(ours) & ~same):
        before = "unknown" if np.isnan(theirs[place]) else f"{theirs[place] / size:,.2f}"
        yield int(place), f"{told}: {ours[place] / size:,.2f} {unit}, archive {before}"


def _word(field: object, value: str | None) -> str:
    return "unknown" if value is None else field.choices.get(value, value)  # type: ignore[attr-defined]
