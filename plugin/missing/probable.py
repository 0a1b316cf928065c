"""Pipe that is probably there though the map does not show it. It is assumed, and never part of an archive."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

LIKELY, POSSIBLE, GUESS = "likely", "possible", "a guess"
LATERAL, MAIN, GAP = "missing-lateral", "unmapped-main", "gap-in-main"


@dataclass(frozen=True)
class Probable:
    """One line, drawn the way its water flows where `flow_known`; figures in SI, NaN and None where unknown.

    `kind` is the check it stands under; `beside` the lines it was concluded from; `area_m2` the land that depends on
    it; `systems` those (by number of stake.Systems, joined) that get their outlet by it, if it is there.
    """

    kind: str
    geometry: shapely.LineString
    confidence: str
    reasons: tuple[str, ...]
    area_m2: float
    beside: tuple[int, ...]
    role: str
    flow_known: bool = False
    spacing_m: float = np.nan
    diameter_m: float = np.nan
    material: str | None = None
    invert_start_m: float = np.nan
    invert_end_m: float = np.nan
    systems: frozenset = field(default=frozenset())


def alike(values: np.ndarray, unknown: object) -> object:
    """The value all have in common, else `unknown`."""
    first = values[0]
    same = all(value == first for value in values)  # NaN differs from itself, so that unknown stays unknown
    return first if same else unknown
