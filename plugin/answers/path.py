"""The long section of pipes that are there: from a place to its outlet, or between two places."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from ..checks.ground_fault import ground_fault
from ..county import County, drained
from ..elevation.grade import UNKNOWN
from ..elevation.ground import GroundSampler, sample_lines
from ..elevation.sources import Source
from ..network.near_trees import near_trees
from ..network.walk import Walk
from ..report.profile_data import CallStretch, Profile, TreeStretch
from ..tables import Trees
from .path_marks import marks_of, standing_water
from .pipe import name_of

NAN = float("nan")
_MOST_PLACES = 2000  # along one walk; more than a screen or a sheet can show


@dataclass(frozen=True)
class Path:
    """A walk with its profile. `fault`: why the ground was not used."""

    county: County
    walk: Walk
    profile: Profile
    fault: str = ""

    def place_at(self, station_m: float) -> tuple[float, float]:
        """Where a station lies, in metres of the plan."""
        line, at_m = self.walk.place_at(self.county.network, station_m)
        return tuple(self.county.network.lines.points_at(np.array([line]), np.array([at_m]))[0].tolist())

    def station_near(self, xy_m: tuple[float, float], reach_m: float) -> float | None:
        """The station nearest to a place of the plan; None where the walk lies farther off than `reach_m`."""
        found_m, distance_m = self.walk.nearest(self.county.network, xy_m)
        return found_m if distance_m <= reach_m else None


@dataclass(frozen=True)
class _Places:
    """Places along a walk: their stretch, line, where on it, and station."""

    stretch: np.ndarray
    line: np.ndarray
    at_m: np.ndarray
    station_m: np.ndarray


def profile_of(
    county: County, walk: Walk, sampler: GroundSampler | None = None, ground_name: str = "", trees: Trees | None = None,
) -> Path:
    """The profile of a walk, which has some length. The ground is that of the county, else it is sampled along the
    walk alone."""
    fault, lines = "", county.network.lines
    line = county.network.pieces.line[walk.piece]
    if sampler is not None and county.ground is None:
        on = np.zeros(len(lines), dtype=bool)
        on[line] = True
        with_ground = replace(county, ground=sample_lines(lines, sampler, county.limits["ground_step"], on))
        fault = ground_fault(with_ground, ground_name)
        county = county if fault else drained(with_ground)
    places = _places(county, walk)
    known = county.evidence.invert_at(places.line, places.at_m)
    diameter_m = county.network.drains.diameter_m[lines.drain[places.line]]
    measured_m = np.where(known.source < Source.PROBED_DEPTH, known.z_m, NAN)
    water_m, sills = standing_water(county, walk, places.station_m, measured_m, diameter_m)
    ground = county.ground
    profile = Profile(
        title=_title(county, walk),
        units=county.units,
        station_m=places.station_m,
        ground_m=np.full(len(places.line), NAN) if ground is None else ground.at(places.line, places.at_m),
        invert_m=known.z_m,
        invert_error_m=known.sigma_m,
        diameter_m=diameter_m,
        least_cover_m=county.limits["least_cover"],
        calls=tuple(_calls(county, walk)),
        marks=(*sills, *marks_of(county, walk)),
        trees=_trees(county, walk, trees),
        station_words="Distance from the outlet" if np.isfinite(walk.base_m) else "Distance from the first place",
        flows_to_low_station=True if walk.flows_back else None,
        water_m=water_m,
    )
    return Path(county, walk, profile, fault)


def _title(county: County, walk: Walk) -> str:
    """'Long section: Main A (A-1), Main A north (A-2)', three names at most."""
    network = county.network
    drains = list(dict.fromkeys(network.piece_drain[walk.piece].tolist()))
    names = [name_of(county, drain) for drain in drains[:3]]
    return f"Long section: {', '.join(names)}{f' and {len(drains) - 3} more' if len(drains) > 3 else ''}"


def _places(county: County, walk: Walk) -> _Places:
    """Ends of every stretch, measured points, and places between as close as the ground is sampled."""
    line, points = county.network.pieces.line[walk.piece], county.network.levels.points
    step_m = max(county.limits["ground_step"], walk.whole_m / _MOST_PLACES)
    stretches, places = [], []
    for k in range(len(walk.piece)):
        low, high = sorted((float(walk.start_m[k]), float(walk.end_m[k])))
        even = np.linspace(low, high, int(np.ceil((high - low) / step_m)) + 1)
        measured = points.at_m[points.first[line[k]] : points.first[line[k] + 1]]
        at_m = np.unique(np.concatenate([even, measured[(measured > low) & (measured < high)]]))
        places.append(at_m if walk.end_m[k] >= walk.start_m[k] else at_m[::-1])
        stretches.append(np.full(len(at_m), k))
    stretch, at_m = np.concatenate(stretches), np.concatenate(places)
    return _Places(stretch, line[stretch], at_m, walk.station_at(stretch, at_m))


def _calls(county: County, walk: Walk) -> Iterator[CallStretch]:
    """Calls of the runs of grade along the walk, and what no run covers, which is unknown."""
    grades = county.grades
    for line, from_m, to_m, call in (
        (grades.line, grades.from_m, grades.to_m, grades.call),
        (grades.unknown_line, grades.unknown_from_m, grades.unknown_to_m,
         np.full(len(grades.unknown_line), UNKNOWN, dtype=object)),
    ):
        rows, begin_m, end_m = walk.overlapping(county.network, line, from_m, to_m)
        yield from map(CallStretch, begin_m.tolist(), end_m.tolist(), call[rows].tolist())


def _trees(county: County, walk: Walk, trees: Trees | None) -> tuple[TreeStretch, ...]:
    """The walk within root distance, whatever the openings of the pipe."""
    if trees is None:
        return ()
    network = county.network
    found = near_trees(network.lines, np.unique(network.pieces.line[walk.piece]), trees, county.limits)
    rows, begin_m, end_m = walk.overlapping(network, found.line, found.from_m, found.to_m)
    said = [f"{trees.name[found.tree[k]]}, {county.units.show_length(found.limit_m[k], 0)}" for k in rows.tolist()]
    return _joined(sorted(zip(begin_m.tolist(), end_m.tolist(), said)))


def _joined(stretches: list[tuple[float, float, str]]) -> tuple[TreeStretch, ...]:
    """Neighbouring stretches with the same words as one."""
    found: list[TreeStretch] = []
    for from_m, to_m, words in stretches:
        if found and found[-1].words == words and from_m - found[-1].to_m < 0.01:
            found[-1] = TreeStretch(found[-1].from_m, max(to_m, found[-1].to_m), words)
        else:
            found.append(TreeStretch(from_m, to_m, words))
    return tuple(found)
