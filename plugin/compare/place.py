"""Whether a layout lies where it can belong, and at levels that can be right."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import shapely

from ..tables import Drains
from ..units import FOOT_M, US_SURVEY_FOOT_M
from .found import Found
from .given import Archive, Settings

_LEAST_LINES = 2  # fewer lines fit somewhere by chance


def check_place(archive: Archive, layout: Drains, usable: np.ndarray, settings: Settings) -> Iterator[Found]:
    """Lines far from all the archive holds, or lines that would fit it if their coordinates were read another way."""
    held = _all_shapes(archive)
    rows = np.flatnonzero(usable)
    if not len(held) or not len(rows):
        return
    pipes = _Pipes(archive.drains, max(settings.tolerance_m, settings.limits["near_duplicate_distance"]))
    bounds = shapely.bounds(layout.geometry[rows])
    far_m = _beyond(bounds, shapely.total_bounds(held))
    far = far_m > settings.limits["layout_far"]
    ends = np.stack([shapely.get_coordinates(shapely.get_point(layout.geometry[rows], place)) for place in (0, -1)])
    alike = "" if pipes.any_near(layout.geometry[rows]) else _other_reading(ends, far, pipes, held, settings)
    off = np.ones(len(rows), dtype=bool) if alike else far
    show = settings.units.show_length
    detail = [
        "; ".join(filter(None, (f"{show(beyond, 0)} from all the archive holds" if beyond > 0 else "", alike)))
        for beyond in far_m[off]
    ]
    yield Found.of("wrong-place", rows[off], far_m[off], None, detail)


def _all_shapes(archive: Archive) -> np.ndarray:
    shapes = [archive.drains.geometry, shapely.points(archive.structures.xy_m)]
    shapes += [archive.land.geometry] if archive.land is not None else []
    held = np.concatenate(shapes)
    return held[~(shapely.is_missing(held) | shapely.is_empty(held))]


def _beyond(bounds: np.ndarray, around: np.ndarray) -> np.ndarray:
    """How far boxes lie outside another box."""
    x = np.maximum(np.maximum(around[0] - bounds[:, 2], bounds[:, 0] - around[2]), 0.0)
    y = np.maximum(np.maximum(around[1] - bounds[:, 3], bounds[:, 1] - around[3]), 0.0)
    return np.hypot(x, y)


class _Pipes:
    """The archive's pipes, to be asked which lines come near one."""

    def __init__(self, drains: Drains, reach_m: float) -> None:
        shapes = drains.geometry
        self._tree = shapely.STRtree(shapes[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))])
        self._reach_m = reach_m

    def any_near(self, shapes: np.ndarray) -> bool:
        """Whether any line runs near a pipe."""
        return len(self._tree.query(shapes, predicate="dwithin", distance=self._reach_m)[0]) > 0

    def met(self, ends: np.ndarray) -> np.ndarray:
        """Which lines, given by both their ends as (2, lines, 2), have one near a pipe."""
        hit = np.zeros(ends.shape[:2], dtype=bool)
        for place in (0, 1):
            found, _ = self._tree.query(shapely.points(ends[place]), predicate="dwithin", distance=self._reach_m)
            hit[place, found] = True
        return hit.any(axis=0)


_METRES, _FEET = "its coordinates look like metres taken for feet", "its coordinates look like feet taken for metres"
_READINGS: tuple[tuple[str, Callable[[np.ndarray], np.ndarray]], ...] = (
    (_METRES, lambda xy: xy / FOOT_M),
    (_METRES, lambda xy: xy / US_SURVEY_FOOT_M),
    (_FEET, lambda xy: xy * FOOT_M),
    (_FEET, lambda xy: xy * US_SURVEY_FOOT_M),
    ("its coordinates look swapped: north before east", lambda xy: xy[..., ::-1]),
)


def _other_reading(ends: np.ndarray, far: np.ndarray, pipes: _Pipes, held: np.ndarray, settings: Settings) -> str:
    """How the coordinates would have to be read for the layout to fit the archive; "" where nothing tells.

    Another reading is believed where most lines would then meet a pipe with an end, or where lines far off would
    lie among what the archive holds.
    """
    unit_m = settings.units.length_m
    around = shapely.total_bounds(held)
    if far.all() and (np.abs(ends[..., 0]) <= 180 * unit_m).all() and (np.abs(ends[..., 1]) <= 90 * unit_m).all():
        return "its coordinates look like longitude and latitude"
    for words, reading in _READINGS:
        read = reading(ends)
        if ends.shape[1] >= _LEAST_LINES and pipes.met(read).mean() > 0.5:
            return words
    for words, reading in _READINGS:
        low, high = reading(ends).min(axis=0), reading(ends).max(axis=0)
        if far.all() and (_beyond(np.hstack([low, high]), around) == 0.0).mean() > 0.5:
            return words
    return ""


def check_levels(archive: Archive, near: np.ndarray, layout: Drains, settings: Settings) -> Iterator[Found]:
    """Inverts that lie farther from those of the pipes around (rows `near`) than on land people drain."""
    old = np.concatenate([archive.drains.invert_start_m[near], archive.drains.invert_end_m[near]])
    new = np.stack([layout.invert_start_m, layout.invert_end_m])
    if not np.isfinite(old).any() or not np.isfinite(new).any():
        return
    around_m, here_m = float(np.nanmedian(old)), float(np.nanmedian(new))
    most_m = settings.limits["levels_apart"]
    if abs(here_m - around_m) <= most_m:
        return
    guess = next((f"; they look like {words}" for words, size in (("metres", FOOT_M), ("feet", 1.0 / FOOT_M))
                  if abs(here_m / size - around_m) <= most_m), "")
    apart = settings.units.show_length(abs(here_m - around_m))
    side = "above" if here_m > around_m else "below"
    rows = np.flatnonzero(np.isfinite(new).any(axis=0))
    yield Found.of("levels-unlikely", rows, here_m - around_m, None,
                   f"the layout's inverts lie about {apart} {side} those of the pipes around{guess}")
