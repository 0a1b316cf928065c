"""Flow by the ground, where nothing better tells: systems without an outlet and without inverts that differ."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..elevation.evidence import Evidence
from .direction import Flow, lowest_levels, orient, systems_of
from .network import Network


def flow_by_ground(network: Network, evidence: Evidence) -> Network:
    """The network with directions toward the lowest ground less depth, in systems in which none was known.

    Whether the pipe really falls that way stays for the grades to say, with the error of the ground.
    """
    silent = (network.direction == 0) & (network.flow.loop < 0) & ~network.has_outlet
    if not silent.any() or evidence.ground is None:
        return network
    pieces = network.pieces.where(silent)
    levels = [evidence.below_ground_at(pieces.line, at_m).z_m for at_m in (pieces.from_m, pieces.to_m)]
    level = lowest_levels(pieces, len(network.nodes), *levels)
    none = np.zeros(0, dtype=np.int64)
    system = systems_of(pieces, len(network.nodes))  # pipes on either side of a ring hang together no more without it
    found = orient(pieces, system, none, level, lambda piece: float("nan"))
    direction = network.direction.copy()
    direction[silent] = found.direction
    flow = network.flow
    return replace(
        network, flow=Flow(direction, flow.divide_piece, flow.divide_at_m, flow.divide_assumed, flow.loop)
    )
