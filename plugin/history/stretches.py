"""A drawn line by stations, without any library: places on it, stretches of it, what comes near it."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence

from .blobs import Box, Place


class Way:
    """A line through places, by distance in plan from its first one, in the unit of its coordinates.

    A place may have an elevation beside x and y: it goes along, and runs straight between vertices.
    """

    def __init__(self, places: Sequence[Place]):
        self.places = [place for k, place in enumerate(places) if k == 0 or place[:2] != places[k - 1][:2]]
        self.stations = [0.0]
        for before, place in zip(self.places, self.places[1:]):
            self.stations.append(self.stations[-1] + math.dist(before[:2], place[:2]))

    @property
    def length(self) -> float:
        return self.stations[-1]

    def place(self, station: float) -> Place:
        """The place at a station; at its very ends and vertices exactly theirs."""
        k = min(max(bisect_right(self.stations, station) - 1, 0), len(self.places) - 1)
        if k == len(self.places) - 1 or station <= self.stations[k]:
            return self.places[k]
        share = (station - self.stations[k]) / (self.stations[k + 1] - self.stations[k])
        return tuple(a + share * (b - a) for a, b in zip(self.places[k], self.places[k + 1]))

    def stretch(self, start: float, end: float) -> list[Place]:
        """The vertices of the part between two stations; the cut places are the same from either side."""
        inner = [place for place, at in zip(self.places, self.stations) if start < at < end]
        first, last = self.place(start), self.place(end)
        return [first, *(place for place in inner if place not in (first, last)), last]

    def nearest(self, place: Place) -> tuple[float, float]:
        """(distance, station) of the point of the line that lies nearest to a place."""
        best = (math.inf, 0.0)
        for k, (start, end) in enumerate(zip(self.places, self.places[1:])):
            share = _share_along(start, end, place)
            foot = (start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))
            station = self.stations[k] + share * (self.stations[k + 1] - self.stations[k])
            best = min(best, (math.dist(foot, place[:2]), station))
        return best

    def box(self, margin: float) -> Box:
        """What the line and a margin around it span."""
        xs, ys = list(zip(*self.places))[:2]
        return Box(min(xs) - margin, min(ys) - margin, max(xs) + margin, max(ys) + margin)

    def crosses(self, other: Way) -> bool:
        """Whether the lines cross inside segments of both; touching is no crossing."""
        return any(
            _cross(a, b, c, d)
            for a, b in zip(self.places, self.places[1:])
            for c, d in zip(other.places, other.places[1:])
        )


def _share_along(start: Place, end: Place, place: Place) -> float:
    dx, dy = end[0] - start[0], end[1] - start[1]
    along = (place[0] - start[0]) * dx + (place[1] - start[1]) * dy
    return min(max(along / (dx * dx + dy * dy), 0.0), 1.0)


def _cross(a: Place, b: Place, c: Place, d: Place) -> bool:
    return _side(a, b, c) * _side(a, b, d) < 0 and _side(c, d, a) * _side(c, d, b) < 0


def _side(a: Place, b: Place, place: Place) -> float:
    return (b[0] - a[0]) * (place[1] - a[1]) - (b[1] - a[1]) * (place[0] - a[0])
