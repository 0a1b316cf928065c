"""Where the ends of a route tie in, and which of them is the upper one.

The higher end is never taken as the upper one: that is what has to be found out. The network says which end
the water comes from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..network.network import Network
from ..network.trace import Downstream, NoPipeError, PlaceOnPipe, place_near, trace_downstream
from ..units import Units
from .plan import Plan

PIPE = "pipe"
OUTLET = "outlet"
LOOSE = "loose"


@dataclass(frozen=True)
class End:
    """An end of the route on a `pipe` of the network, at an `outlet` structure that lies on no pipe, or `loose`.

    `distance_m` is that to the pipe or structure, for a loose end to the nearest pipe (`line`, -1 without any).
    On a pipe: `place`, `line`, and `below`, the way of the water from there. `structure`: row of a structure there.
    """

    kind: str
    xy_m: tuple[float, float]
    distance_m: float
    line: int = -1
    place: PlaceOnPipe | None = None
    below: Downstream | None = None
    structure: int = -1

    @property
    def to_outlet_m(self) -> float:
        """Length of the way along the pipes to the outlet; NaN where none is reached."""
        return float("nan") if self.below is None else self.below.length_m


@dataclass(frozen=True)
class Flow:
    """Which end is the upper one: `first_is_up` of the line as drawn, `why` as a sentence.

    Where `sure` is false nothing tells, and the drawn direction is taken for want of anything better.
    """

    first_is_up: bool
    sure: bool
    why: str


def find_end(network: Network, xy_m: tuple[float, float]) -> End:
    """What an end of the route ties in to, within the join tolerance; at a joint the pipe that leads on from it."""
    reach_m = max(network.tolerance_m, 0.01)
    structure = _nearest(network.structures.xy_m, xy_m, reach_m)
    joint = _node_near(network, xy_m, reach_m)
    try:
        place = place_near(network, tuple(network.nodes.xy[joint]) if joint >= 0 else xy_m, reach_m)
    except NoPipeError:
        off_pipe = network.off_pipe_outlets
        row = _nearest(network.structures.xy_m[off_pipe], xy_m, reach_m)
        if row >= 0:
            row = int(off_pipe[row])
            return End(OUTLET, xy_m, _distance(network.structures.xy_m[row], xy_m), structure=row)
        return _loose(network, xy_m)
    line = int(network.pieces.line[place.piece])
    at = network.lines.points_at(np.array([line]), np.array([place.at_m]))[0]
    below = trace_downstream(network, place)
    return End(PIPE, xy_m, _distance(at, xy_m), line, place, below, structure)


def _node_near(network: Network, xy_m: tuple[float, float], reach_m: float) -> int:
    used = np.flatnonzero(network.node_degree > 0)
    near = _nearest(network.nodes.xy[used], xy_m, reach_m)
    return int(used[near]) if near >= 0 else -1


def _nearest(places_m: np.ndarray, xy_m: tuple[float, float], reach_m: float) -> int:
    """Row of the nearest place within reach, -1 without one."""
    if not len(places_m):
        return -1
    distance_m = np.hypot(*(places_m - np.asarray(xy_m)).T)
    best = int(np.argmin(distance_m))
    return best if distance_m[best] <= reach_m else -1


def _distance(a_m: np.ndarray, b_m: tuple[float, float]) -> float:
    return float(np.hypot(*(np.asarray(a_m) - np.asarray(b_m))))


def _loose(network: Network, xy_m: tuple[float, float]) -> End:
    used = np.unique(network.pieces.line)
    if not len(used):
        return End(LOOSE, xy_m, float("nan"))
    distance_m = shapely.distance(network.lines.geometry[used], shapely.Point(xy_m))
    best = int(np.argmin(distance_m))
    return End(LOOSE, xy_m, float(distance_m[best]), int(used[best]))


def which_is_up(network: Network, first: End, last: End, plan: Plan, units: Units) -> Flow:
    """The upper end of a route drawn from `first` to `last`.

    On two pipes: the one whose water reaches the other; else the one whose pipe is farther from its outlet along
    the pipe. An outlet structure is the lower end. With one loose end, that is the one whose invert alone was
    given; else the pipe is the upper one, since a replacement takes the water of the pipe it starts on.
    """
    if first.kind == PIPE and last.kind == PIPE:
        return _between_pipes(network, first, last, units)
    if OUTLET in (first.kind, last.kind) and first.kind != last.kind:
        return Flow(last.kind == OUTLET, True, "An outlet is the lower end.")
    if PIPE in (first.kind, last.kind):
        return _one_loose(first.kind == LOOSE, plan)
    return Flow(True, False, "Neither end lies on a pipe, so nothing tells which is the upper one; it was taken as "
                             "drawn, from the first point down to the last.")


def _one_loose(loose_is_first: bool, plan: Plan) -> Flow:
    up, down = np.isfinite(plan.invert_up_m), np.isfinite(plan.invert_down_m)
    if up and not down:
        return Flow(loose_is_first, True, "The end in the open is the upper one, since its invert was given as that.")
    if down and not up:
        why = "The end in the open is the lower one, since its invert was given as that."
    else:
        why = "The end in the open was taken as the lower one: the new pipe takes the water of the pipe it starts on."
    return Flow(not loose_is_first, True, why)


def _between_pipes(network: Network, first: End, last: End, units: Units) -> Flow:
    names = [str(network.drains.name[network.lines.drain[end.line]]) for end in (first, last)]
    forth, back = _reaches(network, first, last), _reaches(network, last, first)
    if forth != back:
        upper, lower = names if forth else names[::-1]
        if upper == lower:
            return Flow(forth, True, f"Water in {upper} flows from the upper end to the lower one.")
        return Flow(forth, True, f"The water of {upper} flows to {lower}.")
    a, b = first.to_outlet_m, last.to_outlet_m
    if np.isfinite(a) and np.isfinite(b) and a != b:
        far, near = (0, 1) if a > b else (1, 0)
        ways = [units.show_length(way) for way in (a, b)]
        why = (f"{names[far]} is the upper end: along the pipes it lies {ways[far]} from its outlet, "
               f"{names[near]} {ways[near]}.")
        if first.below.outlet != last.below.outlet:
            why += " The two drain to different outlets; draw the route to the other pipe if that is not meant."
        return Flow(a > b, True, why)
    if np.isfinite(a) != np.isfinite(b):
        why = f"{names[int(np.isnan(a))]} was taken as the lower end: only from there an outlet is reached."
        return Flow(bool(np.isfinite(b)), True, why)
    return Flow(True, False, "The network does not tell which end is the upper one; it was taken as drawn, from the "
                             "first point down to the last. Mark the outlet with a structure of kind outlet.")


def _reaches(network: Network, start: End, goal: End) -> bool:
    """Whether the way of the water from one end passes the other."""
    if goal.place.piece == start.place.piece:
        direction = int(network.direction[start.place.piece])
        return direction * (goal.place.at_m - start.place.at_m) > 0.0
    return bool(np.isin(goal.place.piece, start.below.pieces[1:]))


def from_lower_end(line: shapely.LineString, flow: Flow) -> shapely.LineString:
    """The route from its lower end up, so that stations count from the lower end."""
    return shapely.reverse(line) if flow.first_is_up else line

