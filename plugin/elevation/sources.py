"""Where an invert was had from, and how sure each source is.

The order of `Source` is that of trust: where two sources speak of one place, the smaller number wins.
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from ..limits import Limits

ERROR_BY_LOCATED = {"level": "error_level", "rtk": "error_rtk", "machine_log": "error_machine_log"}
"""Limit with the standard error of an invert by how the drain was located; any other counts as probed."""


class Source(IntEnum):
    """What an invert rests on; those before PROBED_DEPTH are measured at points of the pipe."""

    SHOT = 0
    SURVEYED = 1
    LOGGED = 2
    DRAWN_Z = 3
    STATED = 4
    PROBED_DEPTH = 5
    STATED_DEPTH = 6
    DEFAULT_DEPTH = 7
    NONE = 8


SOURCE_WORDS = {
    Source.SHOT: "level shot",
    Source.SURVEYED: "surveyed invert",
    Source.LOGGED: "machine log",
    Source.DRAWN_Z: "elevation drawn with the line",
    Source.STATED: "stated invert",
    Source.PROBED_DEPTH: "ground less probed depth",
    Source.STATED_DEPTH: "ground less stated depth",
    Source.DEFAULT_DEPTH: "ground less usual depth",
    Source.NONE: "no elevation",
}

_RANK = np.array([0, 0, 1, 2, 3, 4, 5, 6, 7])  # a shot and a surveyed invert are worth the same


def rank(source: np.ndarray) -> np.ndarray:
    """Order of trust, smaller is better; a level shot and a surveyed invert are equals."""
    return _RANK[source]


def invert_source(located_by: np.ndarray) -> np.ndarray:
    """Source of the inverts in a drain's attributes by how the drain was located."""
    surveyed = (located_by == "level") | (located_by == "rtk")
    return np.select([surveyed, located_by == "machine_log"], [Source.SURVEYED, Source.LOGGED], Source.STATED)


def invert_sigma_m(located_by: np.ndarray, invert_error_m: np.ndarray, limits: Limits) -> np.ndarray:
    """Standard error of a drain's inverts: what it states itself, else by how it was located."""
    by_method = np.full(len(located_by), limits["error_probe"])
    for method, limit in ERROR_BY_LOCATED.items():
        by_method[located_by == method] = limits[limit]
    stated = invert_error_m >= 0.0
    return np.where(stated, invert_error_m, by_method)


def z_is_invert(located_by: np.ndarray) -> np.ndarray:
    """Whether the elevations drawn with a line are inverts: only where an instrument located it."""
    return np.isin(located_by.astype(str), list(ERROR_BY_LOCATED))
