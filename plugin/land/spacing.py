"""Which pipes serve land, and how far apart they lie.

Laterals serve land, and so does any pipe with a stated spacing; a main, submain, outlet pipe or pipe of
unknown role without one serves none of its own.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from ..network.lines import Lines
from ..tables import Drains

STATED = "stated"
NEIGHBOURS = "neighbours"
DEFAULT = "default"
NONE = ""

REACH_IN_SPACINGS = 2.5
NEARLY_PARALLEL = np.cos(np.radians(15.0))
LOOKED_AT = np.array([0.25, 0.5, 0.75])


def serving_lines(lines: Lines, drains: Drains, active: np.ndarray) -> np.ndarray:
    """Of the `active` lines those that serve land. A spacing of 0 or less counts as not stated."""
    stated = drains.spacing_m > 0
    return np.asarray(active, dtype=bool) & ((drains.role == "lateral") | stated)[lines.drain]


def spacings(
    lines: Lines, drains: Drains, limits: Mapping[str, float], serving: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Spacing per line in m (NaN where it serves no land) and where it is from.

    STATED in the archive; else NEIGHBOURS: the median distance to the nearest serving pipe on each side
    that runs within 15 degrees of parallel and lies abeam, seen from the quarter points of the line, no
    farther than 2.5 default spacings; else DEFAULT.
    """
    default_m = limits["default_spacing"]
    spacing_m = np.where(serving, drains.spacing_m[lines.drain], np.nan)
    spacing_m[~(spacing_m > 0)] = np.nan
    source = np.where(np.isnan(spacing_m), NONE, STATED).astype(object)
    missing = np.flatnonzero(serving & np.isnan(spacing_m))
    if len(missing):
        median_m = _median_distance_m(lines, serving, missing, REACH_IN_SPACINGS * default_m)
        found = ~np.isnan(median_m)
        spacing_m[missing] = np.where(found, median_m, default_m)
        source[missing] = np.where(found, NEIGHBOURS, DEFAULT)
    return spacing_m, source


def _median_distance_m(lines: Lines, serving: np.ndarray, missing: np.ndarray, reach_m: float) -> np.ndarray:
    """Median over both sides and the quarter points; NaN where nothing parallel lies abeam."""
    line = np.repeat(missing, len(LOOKED_AT))
    at_m = lines.length_m[line] * np.tile(LOOKED_AT, len(missing))
    here = lines.points_at(line, at_m)
    here_along = direction_of(lines, lines.segment_at(line, at_m))
    segment = segments_of(lines, serving)
    ends = lines.xy[segment[:, None] + np.array([0, 1])]
    tree = shapely.STRtree(shapely.linestrings(ends))
    place, near = tree.query(shapely.points(here), predicate="dwithin", distance=reach_m)
    near = segment[near]
    other = line_of_vertices(lines)[near] != line[place]
    place, near = place[other], near[other]
    along = direction_of(lines, near)
    offset = here[place] - lines.xy[near]
    foot_m = (offset * along).sum(axis=1)
    abeam = (foot_m >= 0) & (foot_m <= lines.along_m[near + 1] - lines.along_m[near])
    parallel = np.abs((along * here_along[place]).sum(axis=1)) >= NEARLY_PARALLEL
    side_m = here_along[place, 1] * offset[:, 0] - here_along[place, 0] * offset[:, 1]
    apart_m = np.abs(along[:, 0] * offset[:, 1] - along[:, 1] * offset[:, 0])
    good = abeam & parallel & (apart_m > 0)
    nearest = np.full((len(line), 2), np.inf)
    np.minimum.at(nearest, (place[good], (side_m[good] > 0).astype(int)), apart_m[good])
    return _median_of_finite(nearest.reshape(len(missing), -1))


def _median_of_finite(table: np.ndarray) -> np.ndarray:
    """Median along rows of the finite figures; NaN where a row has none."""
    table = np.sort(table, axis=1)
    count = np.isfinite(table).sum(axis=1)
    row = np.arange(len(table))
    median = (table[row, np.maximum(count - 1, 0) // 2] + table[row, np.minimum(count // 2, table.shape[1] - 1)]) / 2
    return np.where(count > 0, median, np.nan)


def line_of_vertices(lines: Lines) -> np.ndarray:
    """The line of every vertex."""
    return np.repeat(np.arange(len(lines)), np.diff(lines.first))


def segments_of(lines: Lines, chosen: np.ndarray) -> np.ndarray:
    """First vertices of the segments of the chosen lines."""
    begins = np.repeat(chosen, np.diff(lines.first))
    begins[lines.first[1:] - 1] = False
    return np.flatnonzero(begins)


def direction_of(lines: Lines, segment: np.ndarray) -> np.ndarray:
    """Unit vectors along segments."""
    step = lines.xy[segment + 1] - lines.xy[segment]
    return step / np.hypot(step[:, 0], step[:, 1])[:, None]
