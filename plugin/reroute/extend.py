"""The planned pipe as one more line beside the network: drawn from its lower end, never part of the network.

So that stations, findings, cover and drawings of the new pipe are made the same way as those of any drain.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import shapely

from ..county import County
from ..elevation.ground import GroundProfile, GroundSampler, sample_lines
from ..elevation.points import InvertPoints
from ..network.levels import Levels
from ..network.lines import explode
from ..tables import Drains


def sample_near(county: County, route: shapely.LineString, sampler: GroundSampler) -> County:
    """The county with the ground along the pipes that the route meets, sampled like that of any check."""
    lines, network = county.network.lines, county.network
    near = np.zeros(len(lines), dtype=bool)
    hit = shapely.STRtree(lines.geometry).query(route, predicate="dwithin", distance=max(network.tolerance_m, 0.01))
    near[hit] = network.active[hit]
    return replace(county, ground=sample_lines(lines, sampler, county.limits["ground_step"], near))


def ground_nodes(length_m: float, places_m: np.ndarray, step_m: float) -> np.ndarray:
    """Where the ground of a line is sampled: both ends, every `step_m` at most between, and at `places_m`."""
    even = np.linspace(0.0, length_m, int(np.ceil(length_m / step_m - 1e-9)) + 1)
    inner = np.round(np.concatenate([even[1:-1], places_m]), 6)
    inner = inner[(inner > 1e-6) & (inner < length_m - 1e-6)]
    return np.concatenate([[0.0], np.unique(inner), [length_m]])


def add_route(
    county: County, route: Drains, end_z_m: np.ndarray, end_sigma_m: np.ndarray, end_source: np.ndarray,
    places_m: np.ndarray, sampler: GroundSampler | None,
) -> tuple[County, int]:
    """The county with the route as its last line, and the number of that line.

    `route` is drawn from the lower end; `end_...` are inverts at its lower and upper end, NaN where unknown.
    The ground along it is sampled where there is a sampler, at `places_m` and between.
    """
    network = county.network
    drains = Drains(*(np.concatenate([getattr(network.drains, c.name), getattr(route, c.name)])
                      for c in fields(Drains)))
    lines, _ = explode(drains.geometry)
    line = len(lines) - 1
    known = np.isfinite(end_z_m)
    at_m = np.array([0.0, lines.length_m[line]])[known]
    points = _with_points(network.levels.points, line, at_m, end_z_m[known], end_sigma_m[known], end_source[known])
    active = np.append(network.active, False)
    extended = replace(network, drains=drains, lines=lines, active=active, levels=Levels(lines, points))
    ground = county.ground
    if sampler is not None:
        at_m = ground_nodes(float(lines.length_m[line]), places_m, county.limits["ground_step"])
        xy_m = lines.points_at(np.full(len(at_m), line), at_m)
        if ground is None:
            ground = GroundProfile.nowhere(network.lines.length_m)
        ground = ground.with_line(lines.length_m[line], at_m, np.asarray(sampler(xy_m[:, 0], xy_m[:, 1])))
    elif ground is not None:
        ground = ground.with_line(lines.length_m[line], np.zeros(0), np.zeros(0))
    return replace(county, network=extended, ground=ground), line


def _with_points(
    points: InvertPoints, line: int, at_m: np.ndarray, z_m: np.ndarray, sigma_m: np.ndarray, source: np.ndarray
) -> InvertPoints:
    return replace(
        points,
        line=np.concatenate([points.line, np.full(len(at_m), line)]),
        at_m=np.concatenate([points.at_m, at_m]),
        z_m=np.concatenate([points.z_m, z_m]),
        sigma_m=np.concatenate([points.sigma_m, sigma_m]),
        source=np.concatenate([points.source, source]).astype(np.int64),
        first=np.append(points.first, points.first[-1] + len(at_m)),
    )
