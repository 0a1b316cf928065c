"""smaller-downstream: a smaller pipe below a larger one."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import NotChecked, Severity, Stretches, check
from .reasons import no_size

_SAME_SIZE_M = 1e-4  # sizes that differ by rounding between inches and millimetres


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
    known = np.flatnonzero((net.direction != 0) & np.isfinite(diameter))
    into = known[np.lexsort((diameter[known], net.node_down[known]))]
    widest = into[np.searchsorted(net.node_down[into], net.node_up[known], side="right") - 1]
    narrow = (net.node_down[widest] == net.node_up[known]) & (diameter[known] < diameter[widest] - _SAME_SIZE_M)
    piece, above = _one_a_line(case, known[narrow], widest[narrow], diameter)
    with_drawing = net.direction[piece] > 0
    from_m = np.where(with_drawing, pieces.from_m[piece], 0.0)
    to_m = np.where(with_drawing, net.lines.length_m[pieces.line[piece]], pieces.to_m[piece])
    detail = np.array([f"{name} above is larger" for name in case.name_of_line(pieces.line[above])], dtype=object)
    yield Stretches(
        pieces.line[piece], from_m, to_m, value=diameter[piece], limit=diameter[above], detail=detail
    )
    yield no_size(case, net.drains_in_network)


def _one_a_line(
    case: Case, piece: np.ndarray, above: np.ndarray, diameter_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Of several joints along a line the uppermost narrow piece, with the largest of the pipes that run in."""
    net, pieces = case.network, case.network.pieces
    up_m = np.where(net.direction[piece] > 0, -pieces.from_m[piece], pieces.to_m[piece])  # grows upstream
    uppermost = np.lexsort((-up_m, pieces.line[piece]))
    largest = np.lexsort((-up_m, -diameter_m[above], pieces.line[piece]))
    first = np.flatnonzero(np.diff(pieces.line[piece][uppermost], prepend=-1))
    return piece[uppermost][first], above[largest][first]
