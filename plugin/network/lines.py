"""Drawn lines as flat arrays, and places on them.

A drain is a row of the archive; a line is one part of it, since a drain may be drawn in several parts.
A place is (line, distance from the line's first vertex); geometry is never split until it is drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely


@dataclass(frozen=True)
class Lines:
    """Parts of drains with their vertices in one array.

    `drain` is the row of the drain; `station0_m` the station of the drain at which this part begins
    (parts follow one another, gaps between them have no length). Vertices of line i are
    `xy[first[i]:first[i + 1]]`, at `along_m` from the line's first vertex; `z` is NaN where not drawn.
    """

    geometry: np.ndarray
    drain: np.ndarray
    station0_m: np.ndarray
    length_m: np.ndarray
    xy: np.ndarray
    z: np.ndarray
    first: np.ndarray
    along_m: np.ndarray

    def __len__(self) -> int:
        return len(self.drain)

    def some(self, rows: np.ndarray) -> Lines:
        """Some of the lines, in the order of `rows`."""
        count = np.diff(self.first)[rows]
        first = np.concatenate([[0], np.cumsum(count)])
        vertex = np.repeat(self.first[rows] - first[:-1], count) + np.arange(first[-1])
        return Lines(
            self.geometry[rows], self.drain[rows], self.station0_m[rows], self.length_m[rows], self.xy[vertex],
            self.z[vertex], first, self.along_m[vertex],
        )

    def points_at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Coordinates (places, 2) at `at_m` along each line; beyond an end, the end."""
        line = np.asarray(line, dtype=np.int64)
        at_m = np.clip(at_m, 0.0, self.length_m[line])
        segment = self.segment_at(line, at_m)
        a, b = self.along_m[segment], self.along_m[segment + 1]
        share = ((at_m - a) / np.maximum(b - a, 1e-12))[:, None]
        return self.xy[segment] + share * (self.xy[segment + 1] - self.xy[segment])

    @cached_property
    def _running(self) -> tuple[np.ndarray, np.ndarray]:
        """One running distance over all lines: where each line begins, and every vertex."""
        start = np.concatenate([[0.0], np.cumsum(self.length_m)])
        return start, self.along_m + np.repeat(start[:-1], np.diff(self.first))

    def segment_at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Index of the vertex before each place, so that the place lies between it and the next."""
        start, running = self._running
        segment = np.searchsorted(running, start[line] + at_m, side="right") - 1
        return np.clip(segment, self.first[line], self.first[line + 1] - 2)

    def cut(
        self, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, backward: np.ndarray | None = None
    ) -> np.ndarray:
        """LineStrings of the stretches `from_m` to `to_m` (from < to) of each line, those `backward` turned round."""
        line = np.asarray(line, dtype=np.int64)
        if not len(line):
            return np.empty(0, dtype=object)
        low, high = self.segment_at(line, from_m), self.segment_at(line, to_m)
        high -= (high > low) & (self.along_m[high] >= to_m)  # a stretch ending on a vertex does not repeat it
        inner = high - low
        counts = inner + 2
        stop = np.cumsum(counts)
        begin = stop - counts
        out = np.empty((stop[-1], 2))
        out[begin] = self.points_at(line, from_m)
        out[stop - 1] = self.points_at(line, to_m)
        place = np.ones(len(out), dtype=bool)
        place[begin] = place[stop - 1] = False
        rank = np.arange(inner.sum()) - np.repeat(np.cumsum(inner) - inner, inner)
        out[place] = self.xy[np.repeat(low + 1, inner) + rank]
        if backward is not None:
            vertex = np.arange(len(out))
            out = out[np.where(np.repeat(backward, counts), np.repeat(begin + stop - 1, counts) - vertex, vertex)]
        return shapely.linestrings(out, indices=np.repeat(np.arange(len(line)), counts))

    def station_m(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Stations along the drains of places along the lines."""
        return self.station0_m[line] + at_m


@dataclass(frozen=True)
class Unusable:
    """A drain or part that could not be used as drawn: row, what is wrong, whether the rest of it is used."""

    drain: int
    why: str
    used: bool


def explode(geometry: np.ndarray) -> tuple[Lines, list[Unusable]]:
    """Make lines of drawn geometries (one row a drain); what cannot be used is listed, nothing is changed.

    Repeated vertices are dropped, parts without length left out. A part with a coordinate that is no
    number is left out. Curves must have been made straight segments before.
    """
    rows = len(geometry)
    faults: list[Unusable] = []
    missing = shapely.is_missing(geometry) | shapely.is_empty(geometry)
    kind = shapely.get_type_id(geometry)
    linear = np.isin(kind, (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING))
    faults += [Unusable(int(row), "it has no geometry", False) for row in np.flatnonzero(missing)]
    faults += [Unusable(int(row), "it is not a line", False) for row in np.flatnonzero(~missing & ~linear)]
    faults += [
        Unusable(int(row), "it is drawn in several parts, which are taken one after another", True)
        for row in np.flatnonzero(linear & (shapely.get_num_geometries(geometry) > 1))
    ]
    usable = np.flatnonzero(linear & ~missing)
    single = (kind[usable] == shapely.GeometryType.LINESTRING).all()
    parts, of = (geometry[usable], slice(None)) if single else shapely.get_parts(geometry[usable], return_index=True)
    drain = usable[of]
    xyz, part = shapely.get_coordinates(parts, include_z=True, return_index=True)
    bad_part = np.zeros(len(parts), dtype=bool)
    x, y = xyz[:, 0].copy(), xyz[:, 1].copy()  # side by side in memory: twice as fast
    bad_part[part[~np.isfinite(x + y)]] = True
    keep = ~bad_part[part]
    keep[1:] &= (part[1:] != part[:-1]) | (x[1:] != x[:-1]) | (y[1:] != y[:-1])
    if not keep.all():
        xyz, part = xyz[keep], part[keep]
    counts = np.bincount(part, minlength=len(parts))
    good = counts >= 2
    with_rest = np.isin(np.arange(rows), drain[good])
    faults += _faults_of_parts("a coordinate is no number", drain[bad_part], with_rest)
    faults += _faults_of_parts("it has no length", drain[~good & ~bad_part], with_rest)
    as_drawn = good & (counts == shapely.get_num_coordinates(parts)) & ~shapely.has_z(parts)
    xyz = xyz if good.all() else xyz[good[part]]
    return _flat_lines(xyz, counts[good], drain[good], parts[good], as_drawn[good]), faults


def _faults_of_parts(why: str, drain: np.ndarray, with_rest: np.ndarray) -> list[Unusable]:
    """Faults of drains some part of which is left out; `with_rest` tells by drain whether another part is used."""
    return [
        Unusable(int(row), f"a part of it is left out: {why}" if with_rest[row] else why, bool(with_rest[row]))
        for row in np.unique(drain)
    ]


def _flat_lines(
    xyz: np.ndarray, counts: np.ndarray, drain: np.ndarray, parts: np.ndarray, as_drawn: np.ndarray
) -> Lines:
    """`as_drawn`: whether the part can be taken as it is; the others are drawn anew from their vertices."""
    first = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    step = np.zeros(len(xyz))
    if len(xyz):
        step[1:] = np.hypot(*np.diff(xyz[:, :2], axis=0).T)
        step[first[:-1]] = 0.0
    total = np.cumsum(step)
    along = total - np.repeat(total[first[:-1]] if len(xyz) else total, counts)
    length = along[first[1:] - 1] if len(counts) else np.zeros(0)
    before = np.cumsum(length) - length
    first_part = np.ones(len(drain), dtype=bool)
    first_part[1:] = drain[1:] != drain[:-1]
    base = np.maximum.accumulate(np.where(first_part, np.arange(len(drain)), 0)) if len(drain) else drain
    station0 = before - before[base] if len(drain) else before
    geometry = np.array(parts, dtype=object)
    anew = np.flatnonzero(~as_drawn)
    vertex = np.repeat(~as_drawn, counts)
    if len(anew):
        geometry[anew] = shapely.linestrings(xyz[vertex, :2], indices=np.repeat(np.arange(len(anew)), counts[anew]))
    z = np.where(xyz[:, 2] == 0.0, np.nan, xyz[:, 2]) if len(xyz) else np.zeros(0)
    return Lines(geometry, drain.astype(np.int64), station0, length, xyz[:, :2].copy(), z, first, along)
