"""A layout as it was brought, ready to be written: rows in the units and the CRS of the archive."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

# a name space of our own, so that one layout has the same key whenever it is taken in
_NAMES = uuid.UUID("6d0f5c0e-3a0b-5f4e-9a51-0f1b8a4f7d21")
_ENDS = (("invert_start", "invert_end"), ("depth_start", "depth_end"))


@dataclass(frozen=True)
class BroughtRow:
    """One row: its number in the source, `values` by field of the archive (None: unknown), `shape` as plain well-known
    binary in one part without heights (None: there is none), `source` all of it as it was, as JSON."""

    number: int
    values: Mapping[str, object]
    shape: bytes | None
    source: str


@dataclass(frozen=True)
class Brought:
    """The rows of a layout in the order they were compared in; `layouts` are rows about it that came with it."""

    name: str
    drains: Sequence[BroughtRow]
    structures: Sequence[BroughtRow] = ()
    shots: Sequence[BroughtRow] = ()
    layouts: Sequence[Mapping[str, object]] = ()

    def layout_ids(self) -> list[str]:
        """The key of the layout of every line: the one it names, if that came with it; else one made of the content."""
        known = {str(row["layout_id"]) for row in self.layouts}
        own = str(uuid.uuid5(_NAMES, json.dumps([self.name, *(row.source for row in self.drains)])))
        named = [row.values.get("layout_id") for row in self.drains]
        return [str(one) if one is not None and str(one) in known else own for one in named]

    def about(self, layout_id: str) -> dict[str, object]:
        """The row of `layouts` for a key."""
        for row in self.layouts:
            if str(row["layout_id"]) == layout_id:
                return {name: value for name, value in row.items() if value is not None}
        return {"layout_id": layout_id, "name": self.name}


def turned(values: Mapping[str, object]) -> dict[str, object]:
    """Values of a line drawn the other way: those of start and end change places."""
    swapped = dict(values)
    for start, end in _ENDS:
        for one, other in ((start, end), (end, start)):
            swapped.pop(one, None)
            if other in values:
                swapped[one] = values[other]
    return swapped


def inner_levels(shape: shapely.Geometry, unit_m: float) -> tuple[float, float, list[tuple[float, float, float]]]:
    """Heights of a drawn line in metres: at its first and last vertex (NaN: unknown), and (x, y, z) of those between,
    x and y in units of the plan."""
    xyz = shapely.get_coordinates(shape, include_z=True)
    z = np.where(xyz[:, 2] == 0.0, np.nan, xyz[:, 2])
    inner = [(x / unit_m, y / unit_m, h) for (x, y, _), h in zip(xyz[1:-1].tolist(), z[1:-1].tolist()) if h == h]
    return float(z[0]), float(z[-1]), inner
