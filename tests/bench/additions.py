"""Drains of kinds that the generator does not make, added to its county:  additions.py COUNTY.gpkg

Fifty each of loops, splits of flow, crossings without joint, pipes drawn twice and pipes in two parts. Each stands
alone, east of all other pipe, with outlets of its own, so that what must be found is known. The layer `drains`
gets all but those in two parts; `drains_multi` has everything, as MultiLineString.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field

import geopandas
import numpy as np
import pandas
import pyogrio
import shapely

EACH = 50
APART_M = 120.0
EAST_M = 500.0
BOTTOM_Z_M = 200.0
GRADE = 0.005
ADDED_OUTLET = "outlet of "


@dataclass
class Added:
    """Rows for the layers drains and structures."""

    drains: list[dict] = field(default_factory=list)
    outlets: list[dict] = field(default_factory=list)

    def drain(self, key: str, *parts: list[tuple[float, float]], origin: np.ndarray, role: str = "main") -> None:
        """A drain through points counted from `origin`; it falls toward y = 0 with GRADE."""
        lines = [shapely.LineString(np.array(part) + origin) for part in parts]
        shape = lines[0] if len(lines) == 1 else shapely.MultiLineString(lines)
        first, last = parts[0][0], parts[-1][-1]
        self.drains.append({
            "drain_id": key, "role": role, "status": "in_ground", "material": "corrugated_plastic",
            "openings": "perforated", "diameter": 150.0, "spacing": 15.0 if role == "lateral" else np.nan,
            "invert_start": BOTTOM_Z_M + GRADE * first[1], "invert_end": BOTTOM_Z_M + GRADE * last[1],
            "invert_error": 0.02, "evidence": "drawn", "located_by": "rtk", "geometry": shape,
        })

    def outlet(self, key: str, x: float, y: float, origin: np.ndarray) -> None:
        point = shapely.Point(origin + (x, y))
        self.outlets.append({"structure_id": f"{ADDED_OUTLET}{key}", "kind": "outlet", "geometry": point})


def loop(added: Added, key: str, origin: np.ndarray, number: int) -> None:
    """A pipe that leaves a main and comes back to it."""
    added.drain(f"{key} main", [(40, 0), (40, 80)], origin=origin)
    added.drain(f"{key} round", [(40, 20), (60, 20), (60, 60), (40, 60)], origin=origin, role="lateral")
    added.outlet(key, 40, 0, origin)


def split(added: Added, key: str, origin: np.ndarray, number: int) -> None:
    """A pipe from whose foot two lead on, each to an outlet."""
    added.drain(f"{key} top", [(40, 80), (40, 40)], origin=origin)
    for way, x in (("west", 20), ("east", 60)):
        added.drain(f"{key} {way}", [(40, 40), (x, 0)], origin=origin)
        added.outlet(f"{key} {way}", x, 0, origin)


def crossing(added: Added, key: str, origin: np.ndarray, number: int) -> None:
    """Two pipes across each other."""
    added.drain(f"{key} one", [(0, 0), (80, 80)], origin=origin)
    added.drain(f"{key} other", [(80, 0), (0, 80)], origin=origin)
    added.outlet(f"{key} one", 0, 0, origin)
    added.outlet(f"{key} other", 80, 0, origin)


def duplicate(added: Added, key: str, origin: np.ndarray, number: int) -> None:
    """A pipe drawn twice, every other time backwards and a hand's breadth beside."""
    added.drain(f"{key} one", [(40, 0), (40, 80)], origin=origin)
    again = [(40.1, 80), (40.1, 0)] if number % 2 else [(40, 0), (40, 80)]
    added.drain(f"{key} again", again, origin=origin)
    added.outlet(key, 40, 0, origin)


def parts(added: Added, key: str, origin: np.ndarray, number: int) -> None:
    """One pipe in two parts that meet."""
    added.drain(key, [(40, 0), (40, 30)], [(40, 30), (40, 80)], origin=origin)
    added.outlet(key, 40, 0, origin)


KINDS = {"loop": loop, "split": split, "crossing": crossing, "duplicate": duplicate, "parts": parts}


def key_of(kind: str, number: int) -> str:
    return f"{kind} {number}"


def make(corner: np.ndarray) -> Added:
    """All additions, in a column a kind, from their south-west corner on."""
    added = Added()
    for column, (kind, draw) in enumerate(KINDS.items()):
        for number in range(EACH):
            draw(added, key_of(kind, number), corner + (column * APART_M, number * APART_M), number)
    return added


def add_to(path: str) -> None:
    """Add them to the layers of a county."""
    drains = pyogrio.read_dataframe(path, layer="drains")
    structures = pyogrio.read_dataframe(path, layer="structures")
    _, south, east, _ = drains.total_bounds
    added = make(np.array([east + EAST_M, south]))
    more = geopandas.GeoDataFrame(added.drains, crs=drains.crs)
    outlets = geopandas.GeoDataFrame(added.outlets, crs=drains.crs)
    single = more[more.geom_type == "LineString"]
    _write(path, "drains", pandas.concat([drains, single]), "LineString")
    _write(path, "drains_multi", pandas.concat([drains, more]), "MultiLineString")
    _write(path, "structures", pandas.concat([structures, outlets]), "Point")


def _write(path: str, layer: str, frame: geopandas.GeoDataFrame, kind: str) -> None:
    multi = kind.startswith("Multi")
    pyogrio.write_dataframe(frame, path, layer=layer, append=False, geometry_type=kind, promote_to_multi=multi)


if __name__ == "__main__":
    add_to(sys.argv[1])
