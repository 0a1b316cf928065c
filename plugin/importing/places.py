"""Do the coordinates make sense: feet or metres, x and y swapped, degrees, far from everything?

A place cannot be proved right, only be told where it cannot be: outside the archive's land and drains by far, outside
the area a CRS is made for, apart from all the rest of the file. Where another reading of the numbers would lie inside,
it is named.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely

from .issues import Question
from .setting import Setting
from .source import SourceLayer

_SAMPLE = 500
_MOST = 0.9  # share of the rows that has to lie inside for another reading to be named


@dataclass(frozen=True)
class Reading:
    """Another way to read the file's coordinates: `words` finish 'Read ..., it would lie there', `remedy` says what to
    do; `place` gives places in the plan, NaN where there is none.
    """

    words: str
    remedy: str
    place: Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Whereabouts:
    """Where a layer can lie. `box` (west, south, east, north in the plan) holds what `box_words` says; None where
    nothing is known. Places up to `margin_m` outside are taken. `foot`: a sentence where file and archive count in
    different feet. `crs_asked`: a sentence where the file names no CRS and nobody else does.
    """

    box: tuple[float, float, float, float] | None = None
    box_words: str = ""
    margin_m: float = 0.0
    readings: tuple[Reading, ...] = ()
    foot: str = ""
    crs_asked: str = ""
    crs_meanwhile: str = ""


def doubt_places(layer: SourceLayer, where: Whereabouts, setting: Setting) -> np.ndarray:
    """Mask of the rows that lie where they cannot be, each with its reason told."""
    drawn = layer.shapes if layer.drawn is None else layer.drawn
    present = ~(shapely.is_missing(drawn) | shapely.is_empty(drawn))
    doubtful = np.zeros(len(layer), dtype=bool)
    if where.crs_asked and present.any():
        setting.issues.ask(Question("CRS", where.crs_asked, "CRS", where.crs_meanwhile or "none"))
        setting.issues.add("no-crs", layer, np.flatnonzero(present))
        doubtful |= present
    if where.foot and present.any():
        setting.issues.add("other-foot", layer, np.flatnonzero(present), where.foot)
        doubtful |= present
    bounds = shapely.bounds(layer.shapes)
    placed = np.isfinite(bounds).all(axis=1)
    far = placed & _outside(bounds, where, setting)
    if far.any():
        reading = _better(drawn[far], where, setting)
        _tell_far(layer, np.flatnonzero(far), bounds, reading, where, setting)
    apart = placed & ~far & _apart(bounds, placed, setting)
    setting.issues.add("far-away", layer, np.flatnonzero(apart), "It lies far from the rest of the file.")
    return doubtful | far | apart


def without_place(layer: SourceLayer, setting: Setting) -> np.ndarray:
    """Mask of the rows with coordinates that the CRS has no place for; they are told."""
    if layer.drawn is None:
        return np.zeros(len(layer), dtype=bool)
    lost = np.isfinite(shapely.bounds(layer.drawn)).all(axis=1) & shapely.is_missing(layer.shapes)
    setting.issues.add("no-such-place", layer, np.flatnonzero(lost))
    return lost


def _outside(bounds: np.ndarray, where: Whereabouts, setting: Setting) -> np.ndarray:
    if where.box is None:
        return np.zeros(len(bounds), dtype=bool)
    west, south, east, north = _grown(where, setting)
    with np.errstate(invalid="ignore"):
        return (bounds[:, 0] < west) | (bounds[:, 1] < south) | (bounds[:, 2] > east) | (bounds[:, 3] > north)


def _grown(where: Whereabouts, setting: Setting) -> tuple[float, float, float, float]:
    margin, box = where.margin_m / setting.plan_m, where.box or (0.0, 0.0, 0.0, 0.0)
    return box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin


def _better(drawn: np.ndarray, where: Whereabouts, setting: Setting) -> Reading | None:
    """The first other reading by which nearly all rows would lie inside."""
    xy, row = shapely.get_coordinates(drawn, return_index=True)
    xy = xy[np.unique(row, return_index=True)[1]]
    xy = xy[:: max(len(xy) // _SAMPLE, 1)]
    west, south, east, north = _grown(where, setting)
    for reading in where.readings:
        x, y = reading.place(xy).T
        with np.errstate(invalid="ignore"):
            inside = (x >= west) & (x <= east) & (y >= south) & (y <= north)
        if inside.mean() >= _MOST:
            return reading
    return None


def _tell_far(
    layer: SourceLayer, rows: np.ndarray, bounds: np.ndarray, reading: Reading | None, where: Whereabouts,
    setting: Setting,
) -> None:
    if reading is not None:
        told = f"It lies outside {where.box_words}. Read {reading.words}, it would lie there: {reading.remedy}"
        setting.issues.add("wrong-place", layer, rows, told)
        return
    west, south, east, north = where.box or (0.0, 0.0, 0.0, 0.0)
    x, y = (bounds[rows, 0] + bounds[rows, 2]) / 2, (bounds[rows, 1] + bounds[rows, 3]) / 2
    off_m = np.hypot(np.maximum.reduce([west - x, x - east, x * 0]), np.maximum.reduce([south - y, y - north, y * 0]))
    off_m *= setting.plan_m
    told = [f"It lies {_distance(float(one), setting)} from {where.box_words}." for one in off_m]
    setting.issues.add("far-away", layer, rows, np.array(told, dtype=object))


def _distance(metres: float, setting: Setting) -> str:
    """Far distances in words: miles or kilometres."""
    if setting.units.is_us:
        return f"{metres / (5280 * setting.units.foot_m):,.0f} miles"
    return f"{metres / 1000:,.0f} km"


def _apart(bounds: np.ndarray, placed: np.ndarray, setting: Setting) -> np.ndarray:
    """Rows farther from the middle of the file than any county is wide."""
    if placed.sum() < 2:
        return np.zeros(len(bounds), dtype=bool)
    x, y = (bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 1] + bounds[:, 3]) / 2
    off = np.hypot(x - np.median(x[placed]), y - np.median(y[placed]))
    with np.errstate(invalid="ignore"):
        return off * setting.plan_m > setting.limits["import_span"]
