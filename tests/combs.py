"""Rows of laterals for tests, at any place and bearing."""

from __future__ import annotations

import builders as b
import numpy as np
import shapely
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.units import Units
from networks import build

US = Units()


def turned(rows, degrees=0.0, east=0.0, north=0.0):
    """The same rows turned about the origin and moved."""
    a = np.radians(degrees)
    spin = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return [dict(row, geometry=shapely.transform(row["geometry"], lambda xy: xy @ spin.T + [east, north]))
            for row in rows]


def comb(places, length=871.2, x=0.0, prefix="L", **fields):
    """Laterals that run east from x at these y."""
    return [b.lateral(f"{prefix}{k}", (x, y), (x + length, y), **fields) for k, y in enumerate(places)]


def county(rows, outlets=(), limits=(), **options):
    limits = Limits(limits)
    return County(build(rows, outlets, limits=limits, **options), limits, US)


def in_feet(line, degrees=0.0, east=0.0, north=0.0):
    """Coordinates of a found line in the frame before it was turned and moved."""
    a = np.radians(-degrees)
    spin = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return (shapely.get_coordinates(line) / b.FT - [east, north]) @ spin.T
