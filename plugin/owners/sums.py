"""Owner by owner over a whole county: land drained, pipe under his land, shares at outlets, ways of his water."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from ..county import County
from ..land.notices import Owners, OwnerWater, water_of_owners
from ..land.owners import LandMap
from ..land.ways import OwnerWays, owner_ways
from ..tables import Land


@dataclass(frozen=True)
class OwnerSums:
    """A county's pipes under the land of its owners; owners are numbers of `owners`, or NOBODY."""

    county: County
    land: Land

    @cached_property
    def owners(self) -> Owners:
        return Owners.of(self.land)

    @cached_property
    def map(self) -> LandMap:
        return LandMap.of(self.land)

    @cached_property
    def ways(self) -> OwnerWays:
        net = self.county.network
        return owner_ways(
            self.county.served, net.pieces.line, net.pieces.from_m, net.pieces.to_m, net.direction, net.piece_system,
            self.county.down.sum_down, self.map, self.owners, tolerance_m=self.county.limits["exact_joint"],
        )

    def _by_owner(self, owner: np.ndarray, figure: np.ndarray) -> np.ndarray:
        """Sums by owner; NOBODY's stands last, so that it can be asked for as number -1."""
        return np.bincount(np.where(owner < 0, len(self.owners.name), owner), figure,
                           minlength=len(self.owners.name) + 1)

    @cached_property
    def drained_m2(self) -> np.ndarray:
        """Land that pipes serve, by owner."""
        return self._by_owner(self.ways.own_owner, self.ways.own_area_m2)

    @cached_property
    def pipe_m(self) -> np.ndarray:
        """Length of pipe under the land of every owner."""
        return self._by_owner(self.ways.under_owner, self.ways.under_length_m)

    @cached_property
    def land_m2(self) -> np.ndarray:
        """Land drawn, by owner."""
        return self._by_owner(self.owners.of_land, shapely.area(self.map.polygon))

    @cached_property
    def field_count(self) -> np.ndarray:
        return np.bincount(self.owners.of_land, minlength=len(self.owners.name))

    @cached_property
    def at_outlets(self) -> OwnerWater:
        """Land of every owner that drains through each outlet (`piece` is a row of network.outlets)."""
        net, down, ways = self.county.network, self.county.down, self.ways
        pool = down.pool[net.outlets.node]
        together = np.bincount(pool, minlength=down.pool_count)[pool]  # outlets of one ring open both ways share

        def arrived(own: np.ndarray) -> np.ndarray:
            return down.in_pools(down.sum_down(own), own)[pool] / together

        system = self._system_of_nodes[net.outlets.node]
        return water_of_owners(
            ways.own_piece, ways.own_owner, ways.own_area_m2, net.piece_system, arrived, place_system=system
        )

    @cached_property
    def without_outlet_m2(self) -> np.ndarray:
        """Land of every owner that drains to no outlet on the map."""
        lacking = ~self.county.network.has_outlet[self.ways.own_piece]
        return self._by_owner(self.ways.own_owner[lacking], self.ways.own_area_m2[lacking])

    @cached_property
    def _system_of_nodes(self) -> np.ndarray:
        net = self.county.network
        system = np.zeros(len(net.nodes), dtype=np.int64)
        system[net.pieces.node_from] = system[net.pieces.node_to] = net.piece_system
        return system

    @cached_property
    def most_of_others_m2(self) -> np.ndarray:
        """The most land of others that drains through any one place of pipe under each owner's land, by owner."""
        ways, count = self.ways, len(self.owners.name)
        through = self.county.area_above_m2
        key = ways.water.piece * (count + 1) + ways.water.owner + 1
        order = np.argsort(key)
        pair = np.unique(np.stack([ways.under_piece, ways.under_owner]), axis=1)
        piece, owner = pair[0], pair[1]
        wanted = piece * (count + 1) + owner + 1
        found = np.minimum(np.searchsorted(key[order], wanted), max(len(key) - 1, 0))
        own = np.zeros(len(wanted))
        if len(key):
            own = np.where(key[order][found] == wanted, ways.water.area_m2[order][found], 0.0)
        most = np.zeros(count + 1)
        np.maximum.at(most, owner, np.nan_to_num(through[piece] - own))
        return most
