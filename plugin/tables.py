"""The engine's door: columns of an archive in SI, one dataclass a layer.

Whoever brings a layer (an adapter, a test, a script with geopandas) hands over a GeoDataFrame that has
the archive's field names, planar coordinates in metres and all figures in SI. Missing columns are
unknown. Unknown is None for words and NaN for figures, never 0.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
import pandas
import shapely

if TYPE_CHECKING:
    import geopandas


def words(frame: geopandas.GeoDataFrame, column: str) -> np.ndarray:
    """A text column as an object array with None where unknown (blank counts as unknown)."""
    if column not in frame.columns:
        return np.full(len(frame), None, dtype=object)
    kind, kinds = pandas.factorize(frame[column])  # -1: unknown
    text = [*map(str, kinds), None]
    return np.array([word if word and not word.isspace() else None for word in text], dtype=object)[kind]


def figures(frame: geopandas.GeoDataFrame, column: str) -> np.ndarray:
    """A figure column as floats with NaN where unknown."""
    if column not in frame.columns:
        return np.full(len(frame), np.nan)
    return frame[column].astype(float).to_numpy(dtype=float, na_value=np.nan).copy()


def _geometry(frame: geopandas.GeoDataFrame) -> np.ndarray:
    return np.asarray(frame.geometry.values, dtype=object)


def _ids(frame: geopandas.GeoDataFrame, column: str, word: str) -> tuple[np.ndarray, np.ndarray]:
    """Keys as brought, "<word> <row number>" where there is none; and which rows had none.

    The row number is the frame's index, so that an adapter can hand over the feature's own number.
    """
    ids = words(frame, column)
    missing = np.equal(ids, None)
    ids[missing] = [f"{word} {label}" for label in frame.index[missing]]
    return ids, missing


@dataclass(frozen=True)
class Drains:
    """One row a drain. `geometry` is as drawn: LineString or MultiLineString, 2-D or with Z, or None."""

    geometry: np.ndarray
    drain_id: np.ndarray
    id_missing: np.ndarray
    name: np.ndarray
    role: np.ndarray
    status: np.ndarray
    material: np.ndarray
    openings: np.ndarray
    evidence: np.ndarray
    located_by: np.ndarray
    diameter_m: np.ndarray
    depth_start_m: np.ndarray
    depth_end_m: np.ndarray
    invert_start_m: np.ndarray
    invert_end_m: np.ndarray
    invert_error_m: np.ndarray
    spacing_m: np.ndarray

    def __len__(self) -> int:
        return len(self.geometry)

    @property
    def in_ground(self) -> np.ndarray:
        """Whether the drain carries water: in the ground or with no status, and not disproved."""
        status_ok = np.equal(self.status, None) | (self.status == "in_ground")
        return status_ok & (self.evidence != "disproved")

    @classmethod
    def from_frame(cls, frame: geopandas.GeoDataFrame) -> Drains:
        ids, missing = _ids(frame, "drain_id", "line")
        name = words(frame, "name")
        unnamed = np.equal(name, None)
        name[unnamed] = ids[unnamed]
        text = {c: words(frame, c) for c in ("role", "status", "material", "openings", "evidence", "located_by")}
        figure_columns = (
            "diameter", "depth_start", "depth_end", "invert_start", "invert_end", "invert_error", "spacing",
        )
        numbers = {f"{c}_m": figures(frame, c) for c in figure_columns}
        return cls(geometry=_geometry(frame), drain_id=ids, id_missing=missing, name=name, **text, **numbers)


@dataclass(frozen=True)
class Structures:
    """One row a structure; `xy_m` is (rows, 2). Flows in m³/s, levels in m."""

    xy_m: np.ndarray
    structure_id: np.ndarray
    name: np.ndarray
    kind: np.ndarray
    evidence: np.ndarray
    guard: np.ndarray
    receiving_water: np.ndarray
    invert_m: np.ndarray
    flow_m3_s: np.ndarray
    water_level_m: np.ndarray
    bed_level_m: np.ndarray

    def __len__(self) -> int:
        return len(self.xy_m)

    @classmethod
    def from_frame(cls, frame: geopandas.GeoDataFrame) -> Structures:
        """Rows without a point are left out."""
        frame = _with_points(frame)
        ids, _ = _ids(frame, "structure_id", "structure")
        name = words(frame, "name")
        unnamed = np.equal(name, None)
        name[unnamed] = ids[unnamed]
        return cls(
            xy_m=shapely.get_coordinates(_geometry(frame)),
            structure_id=ids,
            name=name,
            kind=words(frame, "kind"),
            evidence=words(frame, "evidence"),
            guard=words(frame, "guard"),
            receiving_water=words(frame, "receiving_water"),
            invert_m=figures(frame, "invert"),
            flow_m3_s=figures(frame, "flow"),
            water_level_m=figures(frame, "water_level"),
            bed_level_m=figures(frame, "bed_level"),
        )

    @classmethod
    def none(cls) -> Structures:
        return cls.from_frame(_empty_frame())


@dataclass(frozen=True)
class Shots:
    """One row a level shot: where (`xy_m`), of what, how high, how well (NaN: by the kind of instrument)."""

    xy_m: np.ndarray
    shot_id: np.ndarray
    drain_id: np.ndarray
    of: np.ndarray
    elevation_m: np.ndarray
    error_m: np.ndarray

    def __len__(self) -> int:
        return len(self.xy_m)

    @classmethod
    def from_frame(cls, frame: geopandas.GeoDataFrame) -> Shots:
        """Rows without a point are left out."""
        frame = _with_points(frame)
        ids, _ = _ids(frame, "shot_id", "shot")
        return cls(
            xy_m=shapely.get_coordinates(_geometry(frame)),
            shot_id=ids,
            drain_id=words(frame, "drain_id"),
            of=words(frame, "of"),
            elevation_m=figures(frame, "elevation"),
            error_m=figures(frame, "error"),
        )

    @classmethod
    def none(cls) -> Shots:
        return cls.from_frame(_empty_frame())


@dataclass(frozen=True)
class Trees:
    """Trees, tree rows and woods together; any geometry. `thirst` is high, ordinary or None."""

    geometry: np.ndarray
    tree_id: np.ndarray
    name: np.ndarray
    thirst: np.ndarray

    def __len__(self) -> int:
        return len(self.geometry)

    @classmethod
    def from_frame(cls, frame: geopandas.GeoDataFrame) -> Trees:
        frame = _with_geometry(frame)
        ids, _ = _ids(frame, "tree_id", "tree")
        name = words(frame, "name")
        unnamed = np.equal(name, None)
        name[unnamed] = ids[unnamed]
        return cls(geometry=_geometry(frame), tree_id=ids, name=name, thirst=words(frame, "thirst"))

    @classmethod
    def together(cls, layers: list[Trees]) -> Trees:
        """Several layers as one."""
        return cls(*(np.concatenate([getattr(layer, column.name) for layer in layers]) for column in fields(cls)))


@dataclass(frozen=True)
class Land:
    """Parcels and fields. `use` is field, road, lot, pond, other or None; `coefficient_m_s` is water a second."""

    geometry: np.ndarray
    land_id: np.ndarray
    name: np.ndarray
    owner: np.ndarray
    contact: np.ndarray
    parcel_no: np.ndarray
    use: np.ndarray
    coefficient_m_s: np.ndarray

    def __len__(self) -> int:
        return len(self.geometry)

    @classmethod
    def from_frame(cls, frame: geopandas.GeoDataFrame) -> Land:
        frame = _with_geometry(frame)
        ids, _ = _ids(frame, "land_id", "land")
        name = words(frame, "name")
        unnamed = np.equal(name, None)
        name[unnamed] = ids[unnamed]
        return cls(
            geometry=_geometry(frame), land_id=ids, name=name, owner=words(frame, "owner"),
            contact=words(frame, "contact"), parcel_no=words(frame, "parcel_no"), use=words(frame, "use"),
            coefficient_m_s=figures(frame, "coefficient"),
        )


def _with_geometry(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    geometry = _geometry(frame)
    return frame[~(shapely.is_missing(geometry) | shapely.is_empty(geometry))]


def _with_points(frame: geopandas.GeoDataFrame) -> geopandas.GeoDataFrame:
    """One row a point: a multi-point counts by its first point."""
    frame = _with_geometry(frame)
    multi = shapely.get_type_id(_geometry(frame)) == shapely.GeometryType.MULTIPOINT
    if multi.any():
        frame = frame.set_geometry(shapely.get_geometry(_geometry(frame), 0))
    return frame


def _empty_frame() -> geopandas.GeoDataFrame:
    import geopandas

    return geopandas.GeoDataFrame({"geometry": []}, geometry="geometry")
