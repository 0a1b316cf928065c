"""Whose land: the tables LAND_ABOVE and LAND_CROSSED in the units people read."""

from __future__ import annotations

import numpy as np
import shapely

from .county import County
from .land.notices import owner_shares
from .land.owners import NOBODY, LandMap, land_crossed, split_by_land
from .result_tables import rounded
from .tables import Land
from .trace_sums import Above
from .units import Units

LAND_ABOVE = {
    "land_id": "text", "name": "text", "owner": "text", "use": "text", "area": "real", "share": "real",
    "owner_area": "real", "owner_share": "real",
}
LAND_CROSSED = {"land_id": "text", "name": "text", "owner": "text", "use": "text", "length": "real"}


def land_above_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for LAND_ABOVE."""
    area = units.area_name
    return {"land_id": "Land", "name": "Field", "owner": "Owner", "use": "Use", "area": f"Area ({area})",
            "share": "Share of all land above", "owner_area": f"Area of this owner ({area})",
            "owner_share": "Share of this owner"}


def land_crossed_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for LAND_CROSSED."""
    return {"land_id": "Land", "name": "Field", "owner": "Owner", "use": "Use", "length": f"Pipe ({units.length_name})"}


def land_above_table(county: County, above: Above, land: Land | None) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """One row a field with land above the place, most first, and its shape in metres.

    Land in no polygon, and all of it where no LAND was given, is a row without key. Areas are weighted by the part
    of the water that comes through the place, so that they add up to AREA_ABOVE.
    """
    strips = county.served.polygons(above.line, above.from_m, above.to_m)
    if land is None:
        area = county.served.area_of(above.line, above.from_m, above.to_m) * above.weight
        rows, stretch = np.full(len(area), NOBODY), np.arange(len(area))
        shapes = strips
    else:
        parts = LandMap.of(land)
        split = split_by_land(county.served, above.line, above.from_m, above.to_m, parts)
        rows, area, stretch = split.land, split.area_m2 * above.weight[split.stretch], split.stretch
        shapes = _parts_on(parts, strips, stretch, rows)
    fields = owner_shares(rows, area)
    columns = _of_land(land, fields.owner)
    columns["area"] = fields.area_m2 / county.units.area_m2
    columns["share"] = fields.share
    columns["owner_area"], columns["owner_share"] = _by_owner(columns["owner"], columns["area"], columns["share"])
    merged = np.array([_merged(shapes[rows == row]) for row in fields.owner] or [], dtype=object)
    return rounded(columns), merged


def _parts_on(parts: LandMap, strips: np.ndarray, stretch: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """The part of each strip that lies on its row of land; of nobody's part the strip less all land."""
    shapes = strips[stretch].copy()
    owned = rows != NOBODY
    shapes[owned] = shapely.intersection(shapes[owned], parts.polygon[rows[owned]])
    free = np.flatnonzero(~owned)
    if len(free):
        around = parts.tree.query(shapely.union_all(shapes[free]))
        shapes[free] = shapely.difference(shapes[free], shapely.union_all(parts.polygon[around]))
    return shapes


def _merged(shapes: np.ndarray) -> shapely.MultiPolygon:
    """One multi-polygon; strips that touch are drawn together."""
    whole = shapely.union_all(shapes, grid_size=0.001)
    parts = [part for part in shapely.get_parts(whole) if part.geom_type == "Polygon"]
    return shapely.MultiPolygon(parts)


def _of_land(land: Land | None, rows: np.ndarray) -> dict[str, np.ndarray]:
    """Key, name, owner and use of rows of land; None for nobody's."""
    owned, row = rows != NOBODY, np.maximum(rows, 0)
    empty = np.full(len(rows), None, dtype=object)

    def column(name: str) -> np.ndarray:
        return empty if land is None or not len(land) else np.where(owned, getattr(land, name)[row], None)

    columns = {name: column(name) for name in ("land_id", "name", "owner", "use")}
    columns["name"] = np.where(owned, columns["name"], "no field drawn" if land is not None else "no LAND given")
    return columns


def _by_owner(owner: np.ndarray, area: np.ndarray, share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sums over the rows of each owner; rows without an owner keep their own."""
    same = [owner == one if one is not None else np.arange(len(owner)) == k for k, one in enumerate(owner)]
    return np.array([area[s].sum() for s in same], dtype=float), np.array([share[s].sum() for s in same], dtype=float)


def land_crossed_table(
    county: County, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, land: Land
) -> dict[str, np.ndarray]:
    """One row a piece of land the stretches pass under, longest first; pipe on a boundary counts for both sides."""
    crossed = land_crossed(county.network.lines, line, from_m, to_m, LandMap.of(land),
                           tolerance_m=county.limits["exact_joint"])
    fields = owner_shares(crossed.land, crossed.length_m)
    return rounded({**_of_land(land, fields.owner), "length": fields.area_m2 / county.units.length_m})
