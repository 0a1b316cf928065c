"""Which pipe a level shot belongs to, and the invert it gives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..limits import Limits
from ..network.lines import Lines
from ..tables import Drains, Shots


@dataclass(frozen=True)
class UnusedShot:
    """A shot of an invert or pipe top that gives no invert: row of the shot, and why (a clause)."""

    shot: int
    why: str


@dataclass(frozen=True)
class PlacedShots:
    """Inverts by shots: row of the shot, line, place on it, elevation and standard error."""

    shot: np.ndarray
    line: np.ndarray
    at_m: np.ndarray
    z_m: np.ndarray
    sigma_m: np.ndarray


def place_shots(
    lines: Lines, drains: Drains, shots: Shots, limits: Limits, tolerance_m: float
) -> tuple[PlacedShots, list[UnusedShot]]:
    """Put shots of inverts and pipe tops on pipes; those that cannot be used are listed with the reason.

    A shot belongs to the drain it names, else to the nearest pipe within `tolerance_m`, pipe in the
    ground before any other. Within the tolerance of a pipe's end it stands for that end.
    """
    of_pipe = np.flatnonzero((shots.of == "invert") | (shots.of == "pipe_top"))
    line, unused = _line_of_each(of_pipe, lines, drains, shots, limits, tolerance_m)
    of_pipe, line = of_pipe[line >= 0], line[line >= 0]
    z_m = shots.elevation_m[of_pipe] - _above_invert_m(of_pipe, line, lines, drains, shots, limits)
    no_figure = np.isnan(shots.elevation_m[of_pipe])
    no_size = np.isnan(z_m) & ~no_figure
    unused += [UnusedShot(int(row), "it has no elevation") for row in of_pipe[no_figure]]
    unused += [
        UnusedShot(int(row), "it is of the top of a pipe whose diameter is unknown") for row in of_pipe[no_size]
    ]
    known = np.isfinite(z_m)
    of_pipe, line, z_m = of_pipe[known], line[known], z_m[known]
    error_m = shots.error_m[of_pipe]
    sigma_m = np.where(error_m >= 0.0, error_m, limits["error_level"])
    at_m = _places(of_pipe, line, lines, shots, tolerance_m)
    return PlacedShots(of_pipe, line, at_m, z_m, sigma_m), sorted(unused, key=lambda fault: fault.shot)


def _line_of_each(
    rows: np.ndarray, lines: Lines, drains: Drains, shots: Shots, limits: Limits, tolerance_m: float
) -> tuple[np.ndarray, list[UnusedShot]]:
    """Line of each shot, -1 where it has none."""
    named = ~np.equal(shots.drain_id[rows], None)
    line = np.full(len(rows), -1, dtype=np.int64)
    line[named], unused = _lines_of_named(rows[named], lines, drains, shots, limits)
    line[~named] = _nearest_lines(rows[~named], lines, drains, shots, tolerance_m)
    unused += [
        UnusedShot(int(row), "it lies on no pipe and names no drain") for row in rows[~named][line[~named] < 0]
    ]
    return line, unused


def _nearest_lines(rows: np.ndarray, lines: Lines, drains: Drains, shots: Shots, tolerance_m: float) -> np.ndarray:
    nearest = np.full(len(rows), -1, dtype=np.int64)
    if not len(rows) or not len(lines):
        return nearest
    points = shapely.points(shots.xy_m[rows])
    shot, line = shapely.STRtree(lines.geometry).query(points, predicate="dwithin", distance=tolerance_m)
    distance_m = shapely.distance(points[shot], lines.geometry[line])
    _keep_best(nearest, shot, line, distance_m, ~drains.in_ground[lines.drain[line]])
    return nearest


def _keep_best(
    best: np.ndarray, shot: np.ndarray, line: np.ndarray, distance_m: np.ndarray, worse: np.ndarray
) -> None:
    """Write into `best` the line of each shot that is not `worse`, and of those the nearest."""
    order = np.lexsort((distance_m, worse, shot))
    first = np.ones(len(order), dtype=bool)
    first[1:] = shot[order][1:] != shot[order][:-1]
    best[shot[order][first]] = line[order][first]


def _lines_of_named(
    rows: np.ndarray, lines: Lines, drains: Drains, shots: Shots, limits: Limits
) -> tuple[np.ndarray, list[UnusedShot]]:
    """The nearest part of the drain each shot names, if it is not absurdly far away."""
    nearest = np.full(len(rows), -1, dtype=np.int64)
    parts = _lines_by_drain_id(set(shots.drain_id[rows]), lines, drains)
    pairs = [(i, line) for i, row in enumerate(rows) for line in parts.get(shots.drain_id[row], ())]
    if pairs:
        shot, line = np.array(pairs, dtype=np.int64).T
        distance_m = shapely.distance(shapely.points(shots.xy_m[rows[shot]]), lines.geometry[line])
        near = distance_m <= limits["shot_distance"]
        _keep_best(nearest, shot[near], line[near], distance_m[near], np.zeros(near.sum(), dtype=bool))
    unused = [
        UnusedShot(
            int(row),
            f"it lies too far from drain '{shots.drain_id[row]}', which it names"
            if shots.drain_id[row] in parts
            else f"it names drain '{shots.drain_id[row]}', which is not among these drains",
        )
        for row in rows[nearest < 0]
    ]
    return nearest, unused


def _lines_by_drain_id(wanted: set[str], lines: Lines, drains: Drains) -> dict[str, list[int]]:
    ids = drains.drain_id[lines.drain] if wanted else np.zeros(0, dtype=object)
    parts: dict[str, list[int]] = {}
    for line in np.flatnonzero([drain_id in wanted for drain_id in ids]):
        parts.setdefault(ids[line], []).append(int(line))
    return parts


def _above_invert_m(
    rows: np.ndarray, line: np.ndarray, lines: Lines, drains: Drains, shots: Shots, limits: Limits
) -> np.ndarray:
    """How far above the invert the shot was taken: inside diameter and one wall for the top of a pipe."""
    diameter_m = drains.diameter_m[lines.drain[line]]
    return np.where(shots.of[rows] == "pipe_top", diameter_m * (1.0 + limits["wall_share"]), 0.0)


def _places(rows: np.ndarray, line: np.ndarray, lines: Lines, shots: Shots, tolerance_m: float) -> np.ndarray:
    if not len(rows):
        return np.zeros(0)
    at_m = shapely.line_locate_point(lines.geometry[line], shapely.points(shots.xy_m[rows]))
    length_m = lines.length_m[line]
    reach_m = np.minimum(tolerance_m, length_m / 2.0)
    return np.select([at_m <= reach_m, at_m >= length_m - reach_m], [0.0, length_m], at_m)
