"""Sums over what a trace found: land, pipe, inflow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .county import County
from .network.trace import Upstream
from .units import Units


@dataclass(frozen=True)
class Above:
    """What drains through a place: stretches of line with the part of their water that comes through it, and sums.

    The last stretch is the part of the clicked piece above the place. Counts leave the clicked pipe out.
    """

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    weight: np.ndarray
    piece_count: int
    lateral_count: int
    length_m: float
    area_m2: float
    inflow_m3_s: float


def said_above(above: Above, units: Units) -> str:
    """The sums in a sentence."""
    inflow, laterals = above.inflow_m3_s / units.flow_m3_s, above.lateral_count
    return (
        f"Above this place: {laterals:,} {'lateral' if laterals == 1 else 'laterals'}, "
        f"{units.show_length(above.length_m)} of pipe, {above.area_m2 / units.area_m2:,.2f} {units.area_name} of land, "
        f"constant inflow {inflow:,.1f} {units.flow_name}."
    )


def sum_above(county: County, found: Upstream) -> Above:
    """Sums of an upstream trace."""
    net, pieces = county.network, county.network.pieces
    rows, from_m, to_m = found.stretches(pieces)
    line = pieces.line[rows]
    weight = np.append(found.weight, 1.0)
    area = county.served.area_of(line, from_m, to_m)
    drains = np.unique(net.piece_drain[found.pieces])
    own = net.piece_drain[found.clicked]
    laterals = (net.drains.role[drains] == "lateral") & (drains != own)
    return Above(
        line, from_m, to_m, weight, len(found.pieces), int(laterals.sum()),
        float((weight * (to_m - from_m)).sum()), float((weight * area).sum()),
        _inflow(county, line, from_m, to_m, weight),
    )


def _inflow(county: County, line: np.ndarray, from_m: np.ndarray, to_m: np.ndarray, weight: np.ndarray) -> float:
    """Constant inflows on the stretches; one at a joint counts once, for the piece that takes it farthest down."""
    inflows = county.inflows
    total = 0.0
    for at_line, at, flow in zip(inflows.line, inflows.at_m, inflows.flow_m3_s):
        on = (line == at_line) & (from_m - 1e-6 <= at) & (to_m + 1e-6 >= at)
        if on.any():
            total += float(flow * weight[on].max())
    return total
