"""What a long section of a pipe shows: ground, pipe with its likely range, calls, marks.

Reroutes, checks and the dock fill the same `Profile`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..units import Units
from .calls import NOT_JUDGED, UNKNOWN

STRUCTURE = "structure"
JOINT = "joint"
CROSSING = "crossing"
TIE_IN = "tie-in"
FIXED = "fixed point"
SIZE_STEP = "change of size"
SILL = "sill"
WATER = "water level"

_SLIVER_M = 0.001  # gaps between calls that come of rounding
BAND_ERRORS = 1.96  # standard errors either side that hold 95 %


@dataclass(frozen=True)
class CallStretch:
    """`call` is falls, reverse, cannot_tell or unknown, from station to station (from < to)."""

    from_m: float
    to_m: float
    call: str


@dataclass(frozen=True)
class Mark:
    """Something at a station. `kind` is one of those above; `invert_m` its own invert, NaN: on the pipe.

    A fixed point may have a least and a greatest invert (`least_m`, `greatest_m`).
    """

    at_m: float
    name: str
    kind: str = JOINT
    invert_m: float = float("nan")
    least_m: float = float("nan")
    greatest_m: float = float("nan")


@dataclass(frozen=True)
class TreeStretch:
    """Pipe within root distance of trees, with the words that stand on it ('cottonwoods, 100 ft')."""

    from_m: float
    to_m: float
    words: str = "trees"


@dataclass(frozen=True)
class Profile:
    """What a long section shows. Arrays are in SI and of one length; `station_m` grows; NaN is unknown.

    `station_m` is the distance from the outlet (or what `station_words` says); `invert_error_m` one standard
    error of the invert; `diameter_m` the inside diameter; `least_cover_m` draws the height the crown must stay
    under; stretches that `calls` leaves out are drawn as not judged, those without an invert as unknown.
    `water_m` is the level of water that stands in the pipe when nothing flows, NaN where none does.
    `flows_to_low_station` is None where the drawing shall not say which way water should go.
    """

    title: str
    units: Units
    station_m: np.ndarray
    ground_m: np.ndarray
    invert_m: np.ndarray
    invert_error_m: np.ndarray | float = float("nan")
    diameter_m: np.ndarray | float = float("nan")
    least_cover_m: float = float("nan")
    calls: tuple[CallStretch, ...] = ()
    marks: tuple[Mark, ...] = ()
    trees: tuple[TreeStretch, ...] = ()
    station_words: str = "Distance from the outlet"
    vertical_datum: str = ""
    flows_to_low_station: bool | None = True
    water_m: np.ndarray | float = float("nan")
    band_m: np.ndarray = field(init=False, repr=False)
    crown_m: np.ndarray = field(init=False, repr=False)
    cover_line_m: np.ndarray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        for name in ("station_m", "ground_m", "invert_m"):
            object.__setattr__(self, name, np.asarray(getattr(self, name), dtype=float))
        if not len(self.station_m) == len(self.ground_m) == len(self.invert_m):
            raise ValueError("Stations, ground and inverts of a profile differ in number.")
        object.__setattr__(self, "band_m", BAND_ERRORS * np.broadcast_to(self.invert_error_m, self.invert_m.shape))
        object.__setattr__(self, "crown_m", self.invert_m + np.broadcast_to(self.diameter_m, self.invert_m.shape))
        object.__setattr__(self, "water_m", np.broadcast_to(self.water_m, self.invert_m.shape))
        object.__setattr__(self, "cover_line_m", self.ground_m - self.least_cover_m)

    @property
    def heights_m(self) -> np.ndarray:
        """Every known height that has to find room in the drawing."""
        band = np.nan_to_num(self.band_m)
        marked = [height for mark in self.marks for height in (mark.invert_m, mark.least_m, mark.greatest_m)]
        pipe = [self.invert_m - band, self.invert_m + band, self.crown_m]
        heights = np.concatenate([*pipe, self.ground_m, self.cover_line_m, self.water_m, marked])
        return heights[np.isfinite(heights)]

    @property
    def has_heights(self) -> bool:
        return len(self.heights_m) > 0


def call_runs(profile: Profile) -> list[CallStretch]:
    """The stretches as they are drawn: without gaps, neighbours of one call joined.

    A stretch without an invert is unknown, whatever the calls say; one that no call covers is not judged.
    """
    station = profile.station_m
    if len(station) < 2:
        return []
    ends = [edge for call in profile.calls for edge in (call.from_m, call.to_m)]
    edges = np.unique(np.clip(np.concatenate([station, ends]), station[0], station[-1]))
    edges = np.append(edges[:-1][np.diff(edges) > _SLIVER_M], edges[-1])
    middle = (edges[:-1] + edges[1:]) / 2
    called = np.full(len(middle), NOT_JUDGED, dtype=object)
    for stretch in profile.calls:
        called[(middle > stretch.from_m) & (middle < stretch.to_m)] = stretch.call
    called[~np.isfinite(np.interp(middle, station, profile.invert_m))] = UNKNOWN
    starts = np.flatnonzero(np.concatenate([[True], called[1:] != called[:-1]]))
    stops = np.concatenate([starts[1:], [len(called)]])
    return [CallStretch(edges[i], edges[j], str(called[i])) for i, j in zip(starts, stops)]
