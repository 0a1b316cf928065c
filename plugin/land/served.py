"""Which land each pipe serves: every square metre counted once.

A serving pipe (see spacing.py) serves the flat-ended strip of half its spacing on either side, up to the
point where another serving pipe whose own strip lies there too is nearer. Where strips overlap the land is
shared out, so that closer laterals add no land; a lone lateral serves length x spacing. Pipes that
only meet end to end, or on either side of a main, take nothing from each other.

Lines that are straight but for a hand's breadth (straight.py) are taken as straight when the land is shared out.
At a bend the strip is mitred, so that a bent pipe keeps length x spacing. Two small errors remain there: the
widths of its two sides are counted by length of pipe, and a pipe does not contest its own land, so that
the two arms of a sharp bend overlap within half a spacing of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from ..network.lines import Lines
from ..tables import Drains
from .profile import widths
from .spacing import DEFAULT, NEIGHBOURS, direction_of, serving_lines, spacings
from .straight import straightened

ON_VERTEX_M = 1e-6


@dataclass(frozen=True)
class ServedLand:
    """Served land per line, and its profile.

    Stations of line i are `first[i]:first[i + 1]`: `at_m` from its first vertex, own land to the left
    (`left_m`) and right of the drawn direction; two stations at one place are a step. `spacing_m` is NaN where
    a line serves none; `spacing_source` is "stated", "neighbours", "default" or "".
    """

    lines: Lines
    spacing_m: np.ndarray
    spacing_source: np.ndarray
    area_m2: np.ndarray
    first: np.ndarray
    at_m: np.ndarray
    left_m: np.ndarray
    right_m: np.ndarray
    running_m: np.ndarray
    running_m2: np.ndarray

    @property
    def spacing_assumed(self) -> np.ndarray:
        """Whether the spacing of a line is not stated in the archive."""
        return np.isin(self.spacing_source, (NEIGHBOURS, DEFAULT))

    @property
    def line(self) -> np.ndarray:
        """The line of every station."""
        return np.repeat(np.arange(len(self.lines)), np.diff(self.first))

    def area_of(self, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray) -> np.ndarray:
        """Land served by stretches of lines, m²; 0 for a line that serves none."""
        line = np.asarray(line, dtype=np.int64)
        return self._area_up_to(line, to_m) - self._area_up_to(line, from_m)

    def _area_up_to(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        serves = self.first[line + 1] > self.first[line]
        area = np.zeros(len(line))
        line, at_m = line[serves], np.clip(at_m, 0.0, self.lines.length_m[line])[serves]
        station = self._station_before(line, at_m, "right")
        left, right = self._widths_in(station, at_m)
        mean = (self.left_m[station] + self.right_m[station] + left + right) / 2
        within = self.running_m2[station] - self.running_m2[self.first[line]]
        area[serves] = within + (at_m - self.at_m[station]) * mean
        return area

    def _station_before(self, line: np.ndarray, at_m: np.ndarray, side: str) -> np.ndarray:
        """The station at which the interval holding each place begins; at a step `side` tells which interval."""
        begin = self.running_m[self.first[line]]
        station = np.searchsorted(self.running_m, begin + at_m, side=side) - 1
        return np.clip(station, self.first[line], self.first[line + 1] - 2)

    def _widths_in(self, station: np.ndarray, at_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        long = self.at_m[station + 1] - self.at_m[station]
        share = np.clip((at_m - self.at_m[station]) / np.where(long > 0, long, 1.0), 0.0, 1.0)
        left, right = (w[station] + share * (w[station + 1] - w[station]) for w in (self.left_m, self.right_m))
        return left, right

    def polygons(self, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray) -> np.ndarray:
        """The land of stretches of lines, empty where there is none. Of a straight line its area is `area_of`."""
        line = np.asarray(line, dtype=np.int64)
        out = np.full(len(line), shapely.Polygon(), dtype=object)
        drawn = np.flatnonzero((self.first[line + 1] > self.first[line]) & (np.asarray(to_m) > np.asarray(from_m)))
        if not len(drawn):
            return out
        stretch, at_m, left_m, right_m = self._profile(line[drawn], np.asarray(from_m)[drawn], np.asarray(to_m)[drawn])
        where = line[drawn][stretch]
        centre, square = self.lines.points_at(where, at_m), _square_to(self.lines, where, at_m)
        counts = np.bincount(stretch)
        stop = np.cumsum(counts)
        place = np.arange(len(stretch)) + (stop - counts)[stretch]  # left side first, then the right side backwards
        back = 2 * (stop + stop - counts)[stretch] - 1 - place
        ring = np.empty((2 * len(stretch), 2))
        ring[place] = centre + square * left_m[:, None]
        ring[back] = centre - square * right_m[:, None]
        made = shapely.polygons(shapely.linearrings(ring, indices=np.repeat(np.arange(len(drawn)), 2 * counts)))
        broken = ~shapely.is_valid(made)
        made[broken] = shapely.buffer(shapely.make_valid(made[broken]), 0.0)  # leaves polygons only
        out[drawn] = made
        return out

    def _profile(
        self, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Stations of stretches with their two ends, as (stretch, at_m, left_m, right_m)."""
        from_m, to_m = np.maximum(from_m, 0.0), np.minimum(to_m, self.lines.length_m[line])
        begin, end = self._station_before(line, from_m, "right"), self._station_before(line, to_m, "left")
        counts = np.maximum(end - begin, 0) + 2
        stretch = np.repeat(np.arange(len(line)), counts)
        stop = np.cumsum(counts)
        station = begin[stretch] + np.arange(len(stretch)) - (stop - counts)[stretch]
        at_m, left_m, right_m = self.at_m[station], self.left_m[station], self.right_m[station]
        for place, before, there_m in ((stop - counts, begin, from_m), (stop - 1, end, to_m)):
            at_m[place] = there_m
            left_m[place], right_m[place] = self._widths_in(before, there_m)
        return stretch, at_m, left_m, right_m


def served_land(lines: Lines, drains: Drains, limits: Mapping[str, float], active: np.ndarray) -> ServedLand:
    """Share the land out between the `active` lines (those that carry water, or would under a proposal)."""
    serving = serving_lines(lines, drains, active)
    spacing_m, source = spacings(lines, drains, limits, serving)
    return shared_out(lines, spacing_m, source, *widths(straightened(lines), spacing_m))


def shared_out(
    lines: Lines, spacing_m: np.ndarray, source: np.ndarray, line: np.ndarray, at_m: np.ndarray, left_m: np.ndarray,
    right_m: np.ndarray,
) -> ServedLand:
    """Served land by the stations `line`, `at_m`, sorted, with the widths there."""
    first = np.concatenate([[0], np.cumsum(np.bincount(line, minlength=len(lines)))]).astype(np.int64)
    before_m = np.cumsum(lines.length_m) - lines.length_m
    total = left_m + right_m
    step_m2 = np.diff(at_m) * (total[1:] + total[:-1]) / 2
    step_m2[line[1:] != line[:-1]] = 0.0
    running_m2 = np.concatenate([[0.0], np.cumsum(step_m2)])[: len(line)]
    area_m2 = np.bincount(line[1:], weights=step_m2, minlength=len(lines))
    return ServedLand(
        lines, spacing_m, source, area_m2, first, at_m, left_m, right_m, before_m[line] + at_m, running_m2
    )


def _square_to(lines: Lines, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
    """Left-hand normals at places on lines; at a vertex drawn out to the mitre (not past a right angle)."""
    after = lines.segment_at(line, at_m)
    after += (np.abs(lines.along_m[after + 1] - at_m) < ON_VERTEX_M) & (after + 2 < lines.first[line + 1])
    on_vertex = (np.abs(lines.along_m[after] - at_m) < ON_VERTEX_M) & (after > lines.first[line])
    normal, before = _normal(lines, after), _normal(lines, np.where(on_vertex, after - 1, after))
    both = normal + before
    cosine = (normal * before).sum(axis=1)
    return both / (1.0 + np.maximum(cosine, 0.0))[:, None]


def _normal(lines: Lines, segment: np.ndarray) -> np.ndarray:
    along = direction_of(lines, segment)
    return np.stack([-along[:, 1], along[:, 0]], axis=1)
