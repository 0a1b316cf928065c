"""What hangs on the old run between the two ends of a reroute, and would have no way out without it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..county import County
from ..network.trace import PlaceOnPipe, trace_upstream
from ..trace_sums import sum_above
from .ends import PIPE
from .judge import Reroute
from .margins import ENTERS, find_margins

_SHORT_OF_JOINT_M = 0.02
_TOP_M = 0.02  # a place so near the top of a piece is the joint there


@dataclass(frozen=True)
class LeftBehind:
    """The old run is `length_m` long. `names`: drains that join it, in the order of the water; `stubs` of them are met
    by the new pipe and can enter it, so that only what lies below it is left. `area_m2`: land that would have no way
    out."""

    length_m: float
    names: tuple[str, ...]
    stubs: int
    area_m2: float

    @property
    def count(self) -> int:
        return len(self.names)


def find_left_behind(reroute: Reroute, county: County) -> LeftBehind | None:
    """`county`: that of the reroute without the new pipe. None where the ends do not lie on one way of the water."""
    upper, lower = reroute.upper.end, reroute.lower.end
    if upper.kind != PIPE or lower.kind != PIPE:
        return None
    pieces, from_m, to_m = upper.below.stretches(county.network.pieces)
    at = np.flatnonzero(pieces == lower.place.piece)
    if not len(at) or not _is_below(county, upper.place, lower.place):
        return None
    run = pieces[: at[0] + 1]
    length_m = float((to_m - from_m)[: at[0]].sum()) + _above_on_last(county, upper.place, lower.place)
    roots = _joining(county, run, lower.place)
    entering = _entering(reroute, county)
    names, stubs, area_m2 = [], 0, 0.0
    for root in roots:
        found = trace_upstream(county.network, PlaceOnPipe(root, _foot_m(county, root), 0.0), county.down)
        area_m2 += sum_above(county, found).area_m2
        caught = [place for place in entering if place.piece == root or place.piece in found.pieces]
        area_m2 -= sum(_area_above(county, place) for place in caught)
        stubs += bool(caught)
        names.append(str(county.network.drains.name[county.network.piece_drain[root]]))
    return LeftBehind(length_m, tuple(names), stubs, area_m2)


def _is_below(county: County, upper: PlaceOnPipe, lower: PlaceOnPipe) -> bool:
    """Whether the lower place is further down, where both lie on one piece."""
    if upper.piece != lower.piece:
        return True
    return int(county.network.direction[upper.piece]) * (lower.at_m - upper.at_m) > 0.0


def _above_on_last(county: County, upper: PlaceOnPipe, lower: PlaceOnPipe) -> float:
    """Length of the run on the piece of its lower end."""
    if upper.piece == lower.piece:
        return abs(lower.at_m - upper.at_m)
    return abs(lower.at_m - _top_m(county, lower.piece))


def _joining(county: County, run: np.ndarray, lower: PlaceOnPipe) -> list[int]:
    """Pieces that run into the joints between the two ends."""
    network = county.network
    nodes = network.node_down[run[:-1]]
    if len(nodes) and abs(lower.at_m - _top_m(county, int(run[-1]))) <= _TOP_M:
        nodes = nodes[:-1]  # the lower end is that joint
    found = []
    for node in nodes.tolist():
        into = np.flatnonzero((network.node_down == node) & (network.direction != 0))
        found += [piece for piece in into.tolist() if piece not in run]
    return found


def _entering(reroute: Reroute, county: County) -> list[PlaceOnPipe]:
    """Places where a drain is met that can run into the new pipe."""
    pieces, met = county.network.pieces, reroute.meetings
    places = []
    for row in np.flatnonzero(find_margins(reroute).state == ENTERS).tolist():
        line, at_m = int(met.line[row]), float(met.at_m[row])
        inside = (pieces.line == line) & (pieces.from_m <= at_m) & (pieces.to_m >= at_m)
        places += [PlaceOnPipe(piece, at_m, 0.0) for piece in np.flatnonzero(inside)[:1].tolist()]
    return places


def _area_above(county: County, place: PlaceOnPipe) -> float:
    return sum_above(county, trace_upstream(county.network, place, county.down)).area_m2


def _top_m(county: County, piece: int) -> float:
    pieces = county.network.pieces
    return float(pieces.from_m[piece] if county.network.direction[piece] >= 0 else pieces.to_m[piece])


def _foot_m(county: County, piece: int) -> float:
    """The lower end of a piece; where the water parts there just above it, so that what joins there is not counted."""
    network, pieces = county.network, county.network.pieces
    parts = ((network.node_up == network.node_down[piece]) & (network.direction != 0)).sum() != 1
    short_m = min(_SHORT_OF_JOINT_M, float(pieces.length_m[piece]) / 2) if parts else 0.0
    if network.direction[piece] >= 0:
        return float(pieces.to_m[piece]) - short_m
    return float(pieces.from_m[piece]) + short_m
