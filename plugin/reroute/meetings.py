"""Where a route meets pipe that is there: crossings, ends of drains on it, and drains whose line it follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..network.network import Network

CROSSES = "crosses"
ENDS_ON = "ends on"
FOLLOWS = "follows"


@dataclass(frozen=True)
class Meetings:
    """Meetings with pipe in the ground, sorted by station along the route (from its lower end).

    `line`, `at_m`: the drain that is met and where along it; `station_m` on the route; `kind` one of the three
    above. Of a drain whose line is followed, these are the middle of the stretch and `length_m` its length.
    """

    line: np.ndarray
    at_m: np.ndarray
    station_m: np.ndarray
    length_m: np.ndarray
    kind: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    def where(self, keep: np.ndarray) -> Meetings:
        return Meetings(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def find_meetings(network: Network, route: shapely.LineString) -> Meetings:
    """All meetings but those within the join tolerance of the route's ends: there it ties in."""
    used = np.unique(network.pieces.line)
    hit = used[shapely.STRtree(network.lines.geometry[used]).query(route, predicate="intersects")]
    parts, of = shapely.get_parts(shapely.intersection(network.lines.geometry[hit], route), return_index=True)
    line = hit[of]
    dimension = shapely.get_dimensions(parts)
    middle = parts.copy()
    middle[dimension == 1] = shapely.line_interpolate_point(parts[dimension == 1], 0.5, normalized=True)
    at_m = shapely.line_locate_point(network.lines.geometry[line], middle)
    station_m = shapely.line_locate_point(np.full(len(line), route, dtype=object), middle)
    reach_m = max(network.tolerance_m, 0.01)
    at_end = np.minimum(at_m, network.lines.length_m[line] - at_m) <= reach_m
    kind = np.where(dimension == 1, FOLLOWS, np.where(at_end, ENDS_ON, CROSSES)).astype(object)
    found = Meetings(line, at_m, station_m, shapely.length(parts), kind)
    tie_in = np.minimum(station_m, route.length - station_m) <= reach_m
    kept = np.flatnonzero(~tie_in | (dimension == 1))
    return found.where(kept[np.lexsort((line[kept], station_m[kept]))])
