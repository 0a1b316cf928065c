"""What the checks of outlets share: marked outlets with the pipe that ends there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .case import Case


@dataclass(frozen=True)
class OutletPipes:
    """Outlets with a pipe: row in structures (-1: not marked), last piece, its line, place of the outlet on it."""

    structure: np.ndarray
    piece: np.ndarray
    line: np.ndarray
    at_m: np.ndarray
    xy_m: np.ndarray


def outlet_pipes(case: Case) -> OutletPipes:
    """Every outlet with the largest piece that runs into it."""
    net = case.network
    rows = np.flatnonzero(net.direction != 0)
    size = np.nan_to_num(net.drains.diameter_m[net.piece_drain[rows]])
    order = rows[np.lexsort((-size, net.node_down[rows]))]
    first = np.searchsorted(net.node_down[order], net.outlets.node)
    met = np.minimum(first, max(len(order) - 1, 0))
    has = (first < len(order)) & (net.node_down[order[met]] == net.outlets.node) if len(order) else first < 0
    piece = order[met[has]] if len(order) else order
    at = np.where(net.direction[piece] > 0, net.pieces.to_m[piece], net.pieces.from_m[piece])
    outlet = np.flatnonzero(has)
    return OutletPipes(
        net.outlets.structure[outlet], piece, net.pieces.line[piece], at, net.nodes.xy[net.outlets.node[outlet]]
    )
