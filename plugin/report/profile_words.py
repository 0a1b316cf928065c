"""A long section in words and figures: what is at one station, and all of it as a table."""

from __future__ import annotations

import csv
import io

import numpy as np

from .calls import style_of
from .profile_data import WATER, Mark, Profile, call_runs

_NEAR_SHARE = 0.004  # of the whole length: a mark so near the cursor is meant


def figures_at(profile: Profile, station_m: float) -> dict[str, float]:
    """Ground, invert, the 95 % either side of it, and the depth of the invert below the ground; metres, NaN unknown."""
    known = profile.station_m
    found = {name: _between(known, values, station_m) for name, values in
             (("ground_m", profile.ground_m), ("invert_m", profile.invert_m), ("band_m", profile.band_m))}
    return {**found, "depth_m": found["ground_m"] - found["invert_m"]}


def _between(station_m: np.ndarray, values_m: np.ndarray, at_m: float) -> float:
    """Straight between the two places beside; NaN beyond the ends, or where one of the two is unknown."""
    if not len(station_m) or not station_m[0] - 1e-6 <= at_m <= station_m[-1] + 1e-6:
        return float("nan")
    nearest = int(np.argmin(np.abs(station_m - at_m)))
    if abs(station_m[nearest] - at_m) <= 1e-6:  # a known place beside an unknown one is known
        return float(values_m[nearest])
    return float(np.interp(at_m, station_m, values_m))


def said_at(profile: Profile, station_m: float) -> str:
    """A few lines on one station; unknown is said so."""
    units, at = profile.units, figures_at(profile, station_m)

    def height(name: str) -> str:
        return units.show_length(at[name], 3) if np.isfinite(at[name]) else "unknown"

    band = f" \u00b1 {units.show_length(at['band_m'], 3)}" if np.isfinite(at["band_m"] + at["invert_m"]) else ""
    lines = [units.show_station(station_m), f"ground {height('ground_m')}", f"invert {height('invert_m')}{band}",
             f"depth {height('depth_m')}"]
    lines += [style_of(run.call).words for run in call_runs(profile) if run.from_m <= station_m <= run.to_m][:1]
    reach_m = _NEAR_SHARE * (profile.station_m[-1] - profile.station_m[0])
    lines += [_said(mark, profile) for mark in profile.marks if abs(mark.at_m - station_m) <= reach_m]
    lines += [tree.words for tree in profile.trees if tree.from_m <= station_m <= tree.to_m]
    return "\n".join(lines)


def _said(mark: Mark, profile: Profile) -> str:
    if mark.kind == WATER:
        return f"{mark.kind}: {profile.units.show_length(mark.invert_m, 2)}"
    return f"{mark.kind}: {mark.name}"


def as_csv(profile: Profile) -> str:
    """A row a place: station, ground, invert with one standard error, depth, call, and what is there."""
    units, size = profile.units, profile.units.length_m
    places = np.unique(np.concatenate([profile.station_m, [mark.at_m for mark in profile.marks]]))
    out = io.StringIO()
    table = csv.writer(out)
    name = units.length_name
    table.writerow([f"station ({name})", f"ground ({name})", f"invert ({name})", f"95 % either side ({name})",
                    f"depth of invert ({name})", "grade", "what is here"])
    runs = call_runs(profile)
    for at_m in places.tolist():
        figures = figures_at(profile, at_m)
        call = next((style_of(run.call).words for run in runs if run.from_m <= at_m <= run.to_m), "")
        here = "; ".join(_said(mark, profile) for mark in profile.marks if mark.at_m == at_m)
        table.writerow([f"{at_m / size:.3f}", *(_shown(figures[key] / size) for key in
                        ("ground_m", "invert_m", "band_m", "depth_m")), call, here])
    return out.getvalue()


def _shown(value: float) -> str:
    return f"{value:.4f}" if np.isfinite(value) else ""
