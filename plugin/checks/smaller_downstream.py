"""smaller-downstream: a smaller pipe below a larger one."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import NotChecked, Severity, Stretches, check


@check(
    id="smaller-downstream",
    title="Pipe is smaller than one that runs into it",
    remedy="Check both sizes at the joint; the smaller pipe is a choke and the next to replace.",
    false_alarm="A smoother or steeper pipe may carry as much though it is smaller; a size may be written down wrong.",
    severity=Severity.SERIOUS,
    source="sizes on both sides of a joint; a main is not made smaller on its way down (NRCS NEH Part 650 ch. 14, "
    "from memory)",
    kind="diameter",
    worst="min",
)
def smaller_downstream(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: inside diameter; limit: the largest one that runs in. The stretch is all of the drain below."""
    net, pieces = case.network, case.network.pieces
    diameter = net.drains.diameter_m[net.piece_drain]
    directed = net.direction != 0
    largest = np.full(len(net.nodes), -np.inf)
    known = directed & np.isfinite(diameter)
    np.maximum.at(largest, net.node_down[known], diameter[known])
    narrow = np.flatnonzero(known & (diameter < largest[net.node_up] - 1e-4))
    line, drain = pieces.line[narrow], net.piece_drain[narrow]
    down_drawing = net.direction[narrow] > 0
    from_m = np.where(down_drawing, pieces.from_m[narrow], 0.0)
    to_m = np.where(down_drawing, net.lines.length_m[line], pieces.to_m[narrow])
    names = case.name_of_line(pieces.line[_widest_into(case, diameter, net.node_up[narrow])])
    detail = np.array([f"{name} above is larger" for name in names], dtype=object)
    yield Stretches(
        line, from_m, to_m, value=net.drains.diameter_m[drain], limit=largest[net.node_up[narrow]], detail=detail
    )
    unsized = net.drains_in_network[np.isnan(net.drains.diameter_m[net.drains_in_network])]
    if len(unsized):
        yield NotChecked("The diameter is unknown: enter it, or measure it at the next opening.", unsized)


def _widest_into(case: Case, diameter_m: np.ndarray, node: np.ndarray) -> np.ndarray:
    """The largest piece that runs into each node."""
    net = case.network
    rows = np.flatnonzero((net.direction != 0) & np.isfinite(diameter_m))
    order = rows[np.lexsort((diameter_m[rows], net.node_down[rows]))]
    last = np.searchsorted(net.node_down[order], node, side="right") - 1
    return order[last]
