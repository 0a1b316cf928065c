"""Owners along one main, for tests of who drains through whom."""

from __future__ import annotations

import builders as b
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.owners.sums import OwnerSums
from fallkeeper.plugin.units import Units
from networks import build

US = Units()
OUTLETS = (b.outlet(0, 0),)


def sums_of(rows, land, outlets=OUTLETS):
    network = build(rows, outlets)
    return OwnerSums(County(network, Limits(), US), b.land(*land))


def a34(acres=(4.0, 3.0, 1.0)):
    """A main through the land of T, K and M, outlet first; each owner's lateral joins near the upper end of his."""
    rows = [b.main("main", (0, 3000), (0, 0))]
    land = []
    for k, (owner, size) in enumerate(zip("TKM", acres)):
        y = 1000 * k + 960
        rows.append(b.lateral(owner.lower(), (size * 871.2, y), (0, y)))
        land.append(b.box(f"F{k}", -500, 1000 * k, 5000, 1000 * (k + 1), owner=owner, contact=f"phone of {owner}"))
    return rows, land
