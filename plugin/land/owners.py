"""Whose land: strips of served land and stretches of pipe, divided at the boundaries of land polygons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..bulk import many_objects
from ..network.lines import Lines
from ..tables import Land
from .served import ServedLand

NOBODY = -1  # row of land that lies in no polygon
NEGLIGIBLE = 1e-6  # share of a strip that is rounding
_STRIPS_AT_ONCE = 20_000  # about 30 MB of shapes
RUNS_ALONG_M = 0.5  # a pipe this long within the tolerance of a boundary runs along it


@dataclass(frozen=True)
class LandMap:
    """Land polygons ready to be asked, by row of Land, each square metre in one of them.

    Where polygons overlap, the first row has the land; `overlaps` lists such pairs of rows (first, second).
    """

    polygon: np.ndarray
    tree: shapely.STRtree
    overlaps: np.ndarray

    @classmethod
    def of(cls, land: Land) -> LandMap:
        polygon = shapely.force_2d(land.geometry)
        broken = ~shapely.is_valid(polygon)
        polygon[broken] = shapely.buffer(shapely.make_valid(polygon[broken]), 0.0)
        shapely.prepare(polygon)
        second, first = shapely.STRtree(polygon).query(polygon)
        pair = np.flatnonzero(first < second)
        first, second = first[pair], second[pair]
        overlap = shapely.intersects(polygon[first], polygon[second])
        overlap &= ~shapely.touches(polygon[first], polygon[second])
        first, second = first[overlap], second[overlap]
        apart = polygon.copy()
        for one, other in zip(first, second):
            apart[other] = shapely.difference(apart[other], polygon[one])
        shapely.prepare(apart)
        return cls(apart, shapely.STRtree(apart), np.stack([first, second], axis=1))


@dataclass(frozen=True)
class LandShares:
    """Served land by stretch and row of Land (NOBODY: no polygon); of each stretch the areas add up to its own."""

    stretch: np.ndarray
    land: np.ndarray
    area_m2: np.ndarray


@dataclass(frozen=True)
class LandCrossed:
    """Pipe by the land over it: row of Land (NOBODY: no polygon) of the part `from_m` to `to_m` of a stretch.

    A part along a common boundary has a row for each side.
    """

    stretch: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    land: np.ndarray

    @property
    def length_m(self) -> np.ndarray:
        return self.to_m - self.from_m


def split_by_land(
    served: ServedLand, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, land: LandMap
) -> LandShares:
    """On whose land the strips of stretches of lines lie. Nothing is lost; what serves nothing has no row."""
    found = []
    with many_objects():
        for begin in range(0, len(line), _STRIPS_AT_ONCE):
            part = slice(begin, begin + _STRIPS_AT_ONCE)
            stretch, *rest = _split(served, line[part], from_m[part], to_m[part], land)
            found.append((stretch + begin, *rest))
    kinds = (np.int64, np.int64, float)
    return LandShares(*(np.concatenate([np.zeros(0, dtype=kind), *column])
                        for kind, column in zip(kinds, zip(*found) if found else ((),) * 3)))


def _split(
    served: ServedLand, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, land: LandMap
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Columns of LandShares for stretches whose strips are drawn at once."""
    strip = served.polygons(line, from_m, to_m)
    area = served.area_of(line, from_m, to_m)
    drawn = shapely.area(strip)
    rows = np.flatnonzero((area > 0) & (drawn > 0))
    pair, polygon = land.tree.query(strip[rows])
    stretch = rows[pair]
    whole = shapely.covers(land.polygon[polygon], strip[stretch])
    within = np.zeros(len(strip), dtype=bool)
    within[stretch[whole]] = True
    share = whole.astype(float)
    cut = np.flatnonzero(~within[stretch])
    pieces = shapely.intersection(land.polygon[polygon[cut]], strip[stretch[cut]])
    share[cut] = shapely.area(pieces) / drawn[stretch[cut]]
    return _complete(stretch, polygon, share, rows, area)


def _complete(
    stretch: np.ndarray, polygon: np.ndarray, share: np.ndarray, rows: np.ndarray, total: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the rest of each stretch to nobody, leave out what is rounding, and make the parts add up."""
    rest = 1.0 - np.bincount(stretch, weights=share, minlength=len(total))[rows]
    stretch = np.concatenate([stretch, rows])
    polygon = np.concatenate([polygon, np.full(len(rows), NOBODY)])
    share = np.concatenate([share, rest])
    keep = np.flatnonzero(share > NEGLIGIBLE)
    order = keep[np.lexsort((polygon[keep], stretch[keep]))]
    stretch, polygon, share = stretch[order], polygon[order], share[order]
    share = share / np.bincount(stretch, weights=share, minlength=len(total))[stretch]
    return stretch, polygon, share * total[stretch]


def land_crossed(
    lines: Lines, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, land: LandMap, *, tolerance_m: float
) -> LandCrossed:
    """Whose land stretches of pipe lie under. What runs along a boundary within `tolerance_m` counts for both sides."""
    line = np.asarray(line, dtype=np.int64)
    stretch, from_m, to_m = cut_at_land(lines, line, from_m, to_m, land, tolerance_m=tolerance_m)
    middle = shapely.points(lines.points_at(line[stretch], (from_m + to_m) / 2))
    part, row = land.tree.query(middle, predicate="dwithin", distance=tolerance_m)
    under = shapely.covers(land.polygon[row], middle[part]) | ((to_m - from_m)[part] > RUNS_ALONG_M)
    part, row = part[under], row[under]
    outside = np.setdiff1d(np.arange(len(stretch)), part)
    part, row = np.concatenate([part, outside]), np.concatenate([row, np.full(len(outside), NOBODY)])
    order = np.lexsort((row, part))
    part, row = part[order], row[order]
    return LandCrossed(stretch[part], from_m[part], to_m[part], row)


def cut_at_land(
    lines: Lines, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, land: LandMap, *, tolerance_m: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stretches cut where the pipe passes a boundary or begins to run along it, as (stretch, from_m, to_m) in order.

    Of passages closer than twice the tolerance the first counts.
    """
    line, from_m, to_m = np.asarray(line, dtype=np.int64), np.asarray(from_m), np.asarray(to_m)
    pipe = lines.cut(line, from_m, to_m)
    stretch, row = land.tree.query(pipe, predicate="dwithin", distance=tolerance_m)
    crossing = np.flatnonzero(~shapely.covers(land.polygon[row], pipe[stretch]))
    stretch, row = stretch[crossing], row[crossing]
    polygon = _as_run_along(land.polygon, row, pipe[stretch], tolerance_m)
    meet = shapely.intersection(shapely.boundary(polygon), pipe[stretch])
    place, of = shapely.get_coordinates(meet, return_index=True)
    of = stretch[of]
    at_m = from_m[of] + shapely.line_locate_point(pipe[of], shapely.points(place))
    every = np.arange(len(line))
    stretch = np.concatenate([every, of, every])
    kind = np.repeat([0, 1, 2], [len(line), len(of), len(line)])  # begin, cut, end
    at_m = np.concatenate([from_m, at_m, to_m])
    order = np.lexsort((at_m, kind, stretch))
    stretch, kind, at_m = stretch[order], kind[order], at_m[order]
    close = np.diff(at_m) <= 2 * tolerance_m
    needless = (kind == 1) & (np.append(False, close) | (np.append(close, False) & (np.append(kind[1:], 0) == 2)))
    stretch, at_m = stretch[~needless], at_m[~needless]
    cell = np.flatnonzero((stretch[1:] == stretch[:-1]) & (np.diff(at_m) > 0))
    return stretch[cell], at_m[cell], at_m[cell + 1]


def _as_run_along(polygon: np.ndarray, row: np.ndarray, pipe: np.ndarray, tolerance_m: float) -> np.ndarray:
    """The polygon for every pipe, wider by the tolerance where the pipe runs along its boundary."""
    used, back = np.unique(row, return_inverse=True)
    exact, wider = polygon[row], shapely.buffer(polygon[used], tolerance_m, join_style="mitre")[back]
    more = shapely.length(shapely.intersection(wider, pipe)) - shapely.length(shapely.intersection(exact, pipe))
    return np.where(more > RUNS_ALONG_M, wider, exact)
