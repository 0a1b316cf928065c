"""Stations along a new pipe: its ends and bends, what it meets, fixed points, and every 50 ft or 20 m between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..county import County
from ..units import Units
from .meetings import FOLLOWS, Meetings
from .plan import FixedPoints
from .words import meeting_words, tie_in_words

if TYPE_CHECKING:
    from .judge import Reroute

STATIONS = {
    "station": "real", "label": "text", "ground": "real", "invert": "real", "cut": "real", "cover": "real",
    "grade": "real", "note": "text",
}
_EVERY = {"us": 50.0, "metric": 20.0}  # ft, m: as a cut sheet has them
_CLEAR_M = 0.5  # an even station this near to a place of its own is left out
_SAME_M = 0.01


@dataclass(frozen=True)
class Stations:
    """Places along the route from its lower end, sorted; `meeting` and `fixed` are rows there, -1 for none.

    `fixed_at_m` is the place of every fixed point on the route, NaN where it lies too far off to hold.
    """

    at_m: np.ndarray
    bend: np.ndarray
    meeting: np.ndarray
    fixed: np.ndarray
    fixed_at_m: np.ndarray


def find_stations(route: shapely.LineString, meetings: Meetings, fixed: FixedPoints, county: County) -> Stations:
    """Every place that has something to say, and even stations where there is room."""
    fixed_at_m = _fixed_places(route, fixed, county.limits["fixed_distance"])
    xy = shapely.get_coordinates(route)
    vertices_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    met = np.flatnonzero(meetings.kind != FOLLOWS)
    held = np.flatnonzero(np.isfinite(fixed_at_m))
    at_m = np.concatenate([vertices_m, meetings.station_m[met], fixed_at_m[held]])
    count, none = len(at_m), np.full(len(at_m), -1)
    bend = np.arange(count) < len(vertices_m)
    bend[[0, len(vertices_m) - 1]] = False
    meeting, fixed_row = none.copy(), none.copy()
    meeting[len(vertices_m) : len(vertices_m) + len(met)] = met
    fixed_row[len(vertices_m) + len(met) :] = held
    even = np.arange(0.0, vertices_m[-1], _EVERY[county.units.system] * county.units.length_m)
    even = even[np.abs(even[:, None] - at_m).min(axis=1) > _CLEAR_M]
    more = np.full(len(even), -1)
    order = np.argsort(np.concatenate([at_m, even]), kind="stable")
    return Stations(
        np.concatenate([at_m, even])[order],
        np.concatenate([bend, np.zeros(len(even), dtype=bool)])[order],
        np.concatenate([meeting, more])[order],
        np.concatenate([fixed_row, more])[order],
        fixed_at_m,
    )


def _fixed_places(route: shapely.LineString, fixed: FixedPoints, reach_m: float) -> np.ndarray:
    points = shapely.points(fixed.xy_m)
    at_m = shapely.line_locate_point(route, points)
    return np.where(shapely.distance(route, points) <= reach_m, at_m, np.nan)


def station_columns(reroute: Reroute) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of STATIONS in people's units, and points in metres; what lies at one place is one row."""
    units = reroute.county.units
    at_m, notes = _merged(reroute)
    ground_m, (invert_m, _) = reroute.ground_at(at_m), reroute.invert_at(at_m)
    cut_m = ground_m - invert_m
    columns = {
        "station": at_m / units.length_m,
        "label": np.array([units.show_station(at) for at in at_m], dtype=object),
        "ground": ground_m / units.length_m,
        "invert": invert_m / units.length_m,
        "cut": cut_m / units.length_m,
        "cover": (cut_m - reroute.plan.diameter_m) / units.length_m,
        "grade": np.full(len(at_m), 100.0 * reroute.verdict.grade),
        "note": np.array(notes, dtype=object),
    }
    lines = reroute.network.lines
    points = shapely.points(lines.points_at(np.full(len(at_m), reroute.line), at_m))
    return {name: np.round(v, 6) if v.dtype.kind == "f" else v for name, v in columns.items()}, points


def station_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for STATIONS."""
    length = units.length_name
    return {
        "station": f"Station from the lower end ({length})", "label": "Station", "ground": f"Ground ({length})",
        "invert": f"Invert ({length})", "cut": f"Cut, ground to invert ({length})", "cover": f"Cover ({length})",
        "grade": "Grade (%)", "note": "What is here",
    }


def _merged(reroute: Reroute) -> tuple[np.ndarray, list[str | None]]:
    """Places of the stations, those closer than a centimetre as one, and what is at each."""
    stations = reroute.stations
    places: list[float] = []
    notes: list[list[str]] = []
    for row, at_m in enumerate(stations.at_m.tolist()):
        if not places or at_m - places[-1] > _SAME_M:
            places.append(at_m)
            notes.append([])
        if stations.bend[row]:
            notes[-1].append("bend")
        if stations.meeting[row] >= 0:
            notes[-1].append(meeting_words(reroute, int(stations.meeting[row])))
        if stations.fixed[row] >= 0:
            notes[-1].append(f"fixed point {reroute.plan.fixed.name[stations.fixed[row]]}")
    notes[0].insert(0, tie_in_words(reroute, reroute.lower, "lower"))
    notes[-1].insert(0, tie_in_words(reroute, reroute.upper, "upper"))
    return np.array(places), ["; ".join(note) or None for note in notes]
