"""What hangs on the old run between the two ends of a reroute, and would have no way out without it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..county import County
from ..network.trace import PlaceOnPipe, trace_upstream
from ..trace_sums import sum_above
from ..units import Units
from .ends import PIPE
from .judge import Reroute
from .margins import ENTERS, find_margins

_SHORT_OF_JOINT_M = 0.02
_TOP_M = 0.02  # a place so near the top of a piece is the joint there


@dataclass(frozen=True)
class LeftBehind:
    """The old run is `length_m` long. `names`: drains that join it, in the order of the water; `stubs` of them are met
    by the new pipe and can enter it, so that only what lies below it is left. `area_m2`: land that would have no way
    out. By drain: `drain` (row), `line` and where what is left begins and ends along it, `is_stub`, `areas_m2`."""

    length_m: float
    names: tuple[str, ...]
    stubs: int
    area_m2: float
    drain: np.ndarray
    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    is_stub: np.ndarray
    areas_m2: np.ndarray

    @property
    def count(self) -> int:
        return len(self.names)


LEFT_BEHIND = {
    "drain_id": "text", "name": "text", "role": "text", "is_stub": "boolean", "length": "real", "area": "real",
}


def left_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for LEFT_BEHIND."""
    return {
        "drain_id": "Drain", "name": "Name", "role": "Role", "is_stub": "Only the stub below the new pipe",
        "length": f"Length of this line ({units.length_name})", "area": f"Land without a way out ({units.area_name})",
    }


def left_columns(left: LeftBehind | None, county: County) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Columns of LEFT_BEHIND in people's units, and lines in metres; without a run between the ends no row."""
    if left is None:
        return {name: np.zeros(0, dtype=object) for name in LEFT_BEHIND}, np.zeros(0, dtype=object)
    drains, units = county.network.drains, county.units
    columns = {
        **{name: getattr(drains, name)[left.drain] for name in ("drain_id", "name", "role")},
        "is_stub": left.is_stub, "length": (left.to_m - left.from_m) / units.length_m,
        "area": left.areas_m2 / units.area_m2,
    }
    return columns, county.network.lines.cut(left.line, left.from_m, left.to_m)


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
    rows = [_left_of(county, root, entering) for root in roots]
    line, from_m, to_m, is_stub, areas_m2 = (
        np.array([row[place] for row in rows], dtype=kind) for place, kind in enumerate((np.int64, float, float, bool,
                                                                                         float))
    )
    drain = county.network.piece_drain[np.array(roots, dtype=np.int64)]
    names = tuple(str(name) for name in county.network.drains.name[drain])
    return LeftBehind(length_m, names, int(is_stub.sum()), float(areas_m2.sum()), drain, line, from_m, to_m, is_stub,
                      areas_m2)


def _left_of(county: County, root: int, entering: list[PlaceOnPipe]) -> tuple[int, float, float, bool, float]:
    """Line, where what is left on it begins and ends, whether it is a stub, and its land, of a piece that joins."""
    network = county.network
    foot = PlaceOnPipe(root, _foot_m(county, root), 0.0)
    found = trace_upstream(network, foot, county.down)
    caught = [place for place in entering if place.piece == root or place.piece in found.pieces]
    area_m2 = sum_above(county, found).area_m2 - sum(_area_above(county, place) for place in caught)
    line = int(network.pieces.line[root])
    on_line = [place.at_m for place in caught if int(network.pieces.line[place.piece]) == line]
    end_m = min(on_line, key=lambda at_m: abs(at_m - foot.at_m)) if on_line else _far_m(county, line, foot.at_m)
    return line, min(foot.at_m, end_m), max(foot.at_m, end_m), bool(caught), area_m2


def _far_m(county: County, line: int, at_m: float) -> float:
    """The end of a line that is farther from a place on it."""
    length_m = float(county.network.lines.length_m[line])
    return length_m if at_m < length_m / 2 else 0.0


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
