"""A long section of pipes that are there, in words."""

from __future__ import annotations

import numpy as np

from ..land.owners import LandMap
from ..report.calls import FALLS, style_of
from ..report.markup import plural
from ..report.profile_data import JOINT, SILL, call_runs
from ..tables import Land
from .answer import Answer, Section
from .path import Path
from .path_marks import size_steps
from .trace import land_table

_MOST_ROWS = 12
_NO_GROUND = "No ground is known here, so ground and earth above the pipe are not drawn: add a raster of the ground."


def headline(path: Path) -> str:
    """'905.0 ft of pipe; the invert falls 0.905 ft toward the outlet (0.1000 %)'."""
    profile, units = path.profile, path.county.units
    length_m = path.walk.whole_m
    fall_m = float(profile.invert_m[-1] - profile.invert_m[0])
    said = f"{units.show_length(length_m)} of pipe"
    if not np.isfinite(fall_m):
        return f"{said}; the invert at one end or both is unknown, so the fall between the ends is unknown too"
    turn = "falls" if fall_m >= 0 else "rises"
    to = "toward the outlet" if path.walk.flows_back and np.isfinite(path.walk.base_m) else "toward station 0"
    grade = 100 * abs(fall_m) / length_m
    return f"{said}; the invert {turn} {units.show_length(abs(fall_m), 3)} {to} ({grade:.4f} %)"


def explain_path(path: Path, land: Land | None = None, land_map: LandMap | None = None) -> Answer:
    """Length and fall, what is wrong on the way, sizes, what joins, trees, and whose land it lies under."""
    sections = [
        Section("Length and fall", (f"{headline(path)}.", *_direction(path))),
        _calls(path),
        Section("On the way", tuple(_on_the_way(path))),
    ]
    if land is not None and land_map is not None:
        walk = path.walk
        sections.append(Section("Under whose land", (), *land_table(
            path.county, path.county.network.pieces.line[walk.piece], *walk.low_high_m, land, land_map)))
    warnings = [path.fault] if path.fault else []
    if not path.fault and path.county.ground is None:
        warnings.append(_NO_GROUND)
    return Answer(path.profile.title, tuple(sections), tuple(warnings))


def _direction(path: Path) -> tuple[str, ...]:
    if path.walk.flows_back:
        return ()
    return ("The water does not run one way all along here, or nobody knows which way it runs: read each stretch by "
            "itself.",)


def _calls(path: Path) -> Section:
    """Every stretch that does not surely fall."""
    show = path.county.units.show_station
    runs = [run for run in call_runs(path.profile) if run.call != FALLS]
    if not runs:
        return Section("Does it fall?", ("Every stretch falls the way the water runs.",))
    rows = tuple((style_of(run.call).words, show(run.from_m), show(run.to_m)) for run in runs[:_MOST_ROWS])
    more = len(runs) - len(rows)
    said = (f"{more:,} more stretches are in the drawing.",) if more else ()
    return Section("Does it fall? Not, or not surely, here", said, ("Call", "From", "To"), rows)


def _on_the_way(path: Path):
    units, profile = path.county.units, path.profile
    size = units.diameter_m
    for station_m, below_m, above_m in size_steps(path.county, path.walk):
        smaller = path.walk.flows_back and below_m < above_m
        yield (f"Size at {units.show_station(station_m)}: {above_m / size:.4g} {units.diameter_name} above, "
               f"{below_m / size:.4g} {units.diameter_name} below{': smaller downstream' if smaller else ''}.")
    for mark in profile.marks:
        if mark.kind == SILL:
            yield f"A sill at {units.show_station(mark.at_m)} holds back up to {mark.name}, by the measured inverts."
    joining = sum(mark.kind == JOINT for mark in profile.marks)
    yield f"{plural(joining, 'drain')} join{'s' if joining == 1 else ''} on the way."
    near_m = sum(tree.to_m - tree.from_m for tree in profile.trees)
    if near_m:
        yield f"{units.show_length(near_m)} lies within root distance of trees."
