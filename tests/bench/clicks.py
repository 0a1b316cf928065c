"""A click on a pipe after the county was loaded: what drains through it, as shapes to highlight."""

from __future__ import annotations

import time

import numpy as np
import shapely
from additions import ADDED_OUTLET
from county import County
from fallkeeper.plugin.county import County as NetworkCounty
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.network import Network
from fallkeeper.plugin.network.trace import place_near, trace_upstream
from measure import Clock
from stages import UNITS, build_network, read_drains

TIMES = 30
SHORT_OF_OUTLET_M = 0.5


def trace_by_click(county: County, clock: Clock) -> None:
    """Clicks just above the outlet of the largest system and of one of median size, TIMES each."""
    limits = Limits()
    clock.loaded()
    with clock("load"):
        network = build_network(*read_drains(county))
        down = NetworkCounty(network, limits, UNITS).down
    for name, outlet, pieces in _systems(network):
        place = _above(network, outlet)
        seconds = []
        for _ in range(TIMES):
            began = time.perf_counter()
            found = trace_upstream(network, place_near(network, place, limits["click_distance"]), down)
            shapes = _shapes(network, found)
            seconds.append(time.perf_counter() - began)
        clock.facts[name] = {"pieces": pieces, "highlighted": len(shapes), "seconds": seconds}


def _systems(network: Network) -> list[tuple[str, int, int]]:
    """Node of the outlet and number of pieces of the largest and of the median system that the generator made."""
    names = network.structures.structure_id[network.outlets.structure]
    node = network.outlets.node[[not name.startswith(ADDED_OUTLET) for name in names.tolist()]]
    system = network.component[network.pieces.node_from]
    size = np.bincount(system, minlength=len(network.nodes))[network.component[node]]
    by_size = np.argsort(size, kind="stable")
    chosen = (("largest", by_size[-1]), ("median", by_size[len(by_size) // 2]))
    return [(name, int(node[row]), int(size[row])) for name, row in chosen]


def _above(network: Network, node: int) -> tuple[float, float]:
    """A place on the pipe that runs to an outlet, just short of it."""
    piece = int(np.flatnonzero((network.node_down == node) & (network.direction != 0))[0])
    pieces, drawn_down = network.pieces, network.direction[piece] > 0
    short = min(SHORT_OF_OUTLET_M, float(pieces.to_m[piece] - pieces.from_m[piece]) / 2)
    at_m = pieces.to_m[piece] - short if drawn_down else pieces.from_m[piece] + short
    return tuple(network.lines.points_at(pieces.line[[piece]], np.array([at_m]))[0].tolist())


def _shapes(network: Network, found: object) -> np.ndarray:
    """The pieces above and the part of the clicked one, as WKB for the map."""
    pieces, from_m, to_m = found.stretches(network.pieces)
    return shapely.to_wkb(network.lines.cut(network.pieces.line[pieces], from_m, to_m))
