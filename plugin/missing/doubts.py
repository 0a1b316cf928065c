"""Open doubts with the land that depends on each: what one visit would settle, the largest first.

Land is counted as it stands: what drains nowhere now behind a joint, a loose end or a gap; what drains through a pipe
whose fall, height or size nobody knows. The same land can hang on several doubts, so the figures do not add up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np

from ..checks.case import Case
from ..checks.merging import merge_runs
from ..county import County
from ..elevation.grade import CANNOT_TELL, what_settles
from ..network.joints import end_at_m
from ..network.loose_ends import find_loose_ends
from .probable import GAP, LATERAL, Probable
from .stake import Systems

PROBE, LEVEL, LOOK = "probe", "level shot", "look"


@dataclass(frozen=True)
class Doubts:
    """Doubts as columns: the check each belongs to, land, line (-1: of none), place on it, coordinates, what would
    settle it, what is in doubt and what to do."""

    kind: np.ndarray
    area_m2: np.ndarray
    line: np.ndarray
    at_m: np.ndarray
    xy_m: np.ndarray
    settle: np.ndarray
    what: np.ndarray
    todo: np.ndarray

    def __len__(self) -> int:
        return len(self.kind)

    def where(self, rows: np.ndarray) -> Doubts:
        return Doubts(*(getattr(self, f.name)[rows] for f in fields(Doubts)))


@dataclass(frozen=True)
class _Asked:
    """A county with what all doubts ask of it."""

    county: County

    @cached_property
    def case(self) -> Case:
        return Case(self.county)

    @cached_property
    def systems(self) -> Systems:
        return Systems(self.county, joined=False)

    def nowhere_of(self, line: np.ndarray) -> np.ndarray:
        """Land of the systems of lines that drains to no outlet."""
        return self.systems.nowhere_m2[self.systems.of_line[line]]

    @cached_property
    def through_m2(self) -> np.ndarray:
        """Land that drains through each piece, or where its flow is not known all of its system."""
        area = self.county.area_above_m2
        return np.where(np.isnan(area), self.systems.area_m2[self.systems.of_piece], area)

    def lowest_of_lines(self, line: np.ndarray) -> np.ndarray:
        """The piece of each line through which most land drains."""
        pieces = self.county.network.pieces
        order = np.lexsort((-self.through_m2, pieces.line))
        first = np.unique(pieces.line[order], return_index=True)
        return order[first[1][np.searchsorted(first[0], line)]]

    def at(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Land that drains through the piece at a place."""
        pieces, net = self.county.network.pieces, self.county.network
        start = np.concatenate([[0.0], np.cumsum(net.lines.length_m + 1.0)])
        order = np.argsort(start[pieces.line] + pieces.from_m)
        begin = (start[pieces.line] + pieces.from_m)[order]
        found = np.maximum(np.searchsorted(begin, start[line] + at_m + 1e-6, side="right") - 1, 0)
        return self.through_m2[order[found]]


def open_doubts(county: County, probable: Sequence[Probable] = ()) -> Doubts:
    """All doubts, most land first; `probable`: what find_missing found, which stands for the loose ends it explains."""
    asked = _Asked(county)
    makers: tuple[Callable[[], Doubts], ...] = (
        lambda: _of_probable(asked, probable), lambda: _joints(asked), lambda: _loose(asked, probable),
        lambda: _crossings(asked), lambda: _grades(asked), lambda: _heights(asked), lambda: _sizes(asked),
        lambda: _outlets(asked), lambda: _assumed_pipe(asked), lambda: _contradicted(asked), lambda: _flow(asked),
    )
    parts = [make() for make in makers]
    every = Doubts(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Doubts)))
    return every.where(np.argsort(-every.area_m2, kind="stable"))


def _doubts(
    asked: _Asked, kind: str, area_m2, line, at_m, settle: str, what, todo, xy_m: np.ndarray | None = None
) -> Doubts:
    """Columns of one kind; `what` and `todo` are texts or one for all."""
    line = np.asarray(line, dtype=np.int64)
    count = len(line)
    at_m = np.asarray(at_m, dtype=float)
    if xy_m is None:
        xy_m = asked.county.network.lines.points_at(line, at_m) if count else np.zeros((0, 2))

    def texts(words) -> np.ndarray:
        column = np.empty(count, dtype=object)
        column[:] = words
        return column

    return Doubts(
        texts(kind), np.asarray(area_m2, dtype=float), line, at_m, np.asarray(xy_m, dtype=float).reshape(-1, 2),
        texts(settle), texts(what), texts(todo),
    )


def _of_probable(asked: _Asked, probable: Sequence[Probable]) -> Doubts:
    middle = [one.geometry.interpolate(0.5, normalized=True) for one in probable]
    what = {GAP: "a main may go on over a gap", LATERAL: "a lateral may be missing on the map"}
    parts = [
        _doubts(
            asked, one.kind, [one.area_m2], [one.beside[0]], [np.nan], PROBE,
            [f"{what.get(one.kind, 'a main may run along a row of open ends')}, {one.confidence}"],
            ["Probe here, across the line that is drawn."], np.array([[point.x, point.y]]),
        )
        for one, point in zip(probable, middle)
    ]
    empty = [_doubts(asked, "", [], [], [], PROBE, [], [])]
    return Doubts(*(np.concatenate([getattr(part, f.name) for part in empty + parts]) for f in fields(Doubts)))


def _joints(asked: _Asked) -> Doubts:
    """Proposed joints: the land of the system that would get an outlet, else what comes down to the end."""
    net, units = asked.county.network, asked.county.units
    waiting = net.proposed.where(~net.applied)
    own, other = (asked.nowhere_of(line) for line in (waiting.line, waiting.other))
    at_m = end_at_m(net.lines)[waiting.end]
    area = np.where(own > 0, own, np.where(other > 0, other, asked.at(waiting.line, waiting.own_at_m)))
    names = asked.case.name_of_line(waiting.line), asked.case.name_of_line(waiting.other)
    what = [f"{one} may join {two}, {units.show_length(gap)} away" for one, two, gap in zip(*names, waiting.gap_m)]
    return _doubts(asked, "proposed-joint", area, waiting.line, at_m, PROBE, what,
                   "Probe between the end and the pipe, or dig there once; then keep a structure of kind joint.")


def _loose(asked: _Asked, probable: Sequence[Probable]) -> Doubts:
    """Loose ends that no probable pipe explains."""
    net, units = asked.county.network, asked.county.units
    ends = find_loose_ends(net)
    explained = set().union(*(one.systems for one in probable))
    joined = Systems(asked.county, joined=True).of_line[ends.line]
    rows = np.flatnonzero([system not in explained for system in joined.tolist()])
    line = ends.line[rows]
    toward = asked.case.name_of_line(np.maximum(ends.toward[rows], 0))
    what = [
        f"{name} ends in the open" + (f", {units.show_length(gap)} from {to}" if pipe >= 0 else "")
        for name, gap, to, pipe in zip(asked.case.name_of_line(line), ends.gap_m[rows], toward, ends.toward[rows])
    ]
    return _doubts(asked, "loose-end", asked.nowhere_of(line), line, ends.at_m[rows], PROBE, what,
                   "Probe from the end onward: does pipe go on?")


def _crossings(asked: _Asked) -> Doubts:
    """Crossings: the land that drains nowhere if one of the two does not, else the lesser of what comes down both."""
    net = asked.county.network
    cross = net.crossings
    own, other = (asked.nowhere_of(line) for line in (cross.line, cross.other))
    both = np.minimum(asked.at(cross.line, cross.at_m), asked.at(cross.other, cross.other_at_m))
    different = asked.systems.of_line[cross.line] != asked.systems.of_line[cross.other]
    area = np.where(different & (own > 0), own, np.where(different & (other > 0), other, both))
    turn = (own == 0) & (other > 0)  # the one that lacks an outlet is the one in doubt
    line, met = np.where(turn, cross.other, cross.line), np.where(turn, cross.line, cross.other)
    at_m = np.where(turn, cross.other_at_m, cross.at_m)
    names = asked.case.name_of_line(line), asked.case.name_of_line(met)
    what = [f"{one} crosses {two} without a joint" for one, two in zip(*names)]
    return _doubts(asked, "crossing-not-joined", area, line, at_m, PROBE, what,
                   "Probe the depth of both pipes at the crossing: the same depth speaks for a joint.")


def _grades(asked: _Asked) -> Doubts:
    """Stretches of which nobody can tell that they fall: what drains through the lower end."""
    county = asked.county
    grades, limits, units = county.grades, county.limits, county.units
    rows = np.flatnonzero(grades.call == CANNOT_TELL)
    runs = merge_runs(grades, rows, grades.p_reverse[rows])
    ends = (runs.from_m + 1e-3, runs.to_m - 1e-3)
    area = np.maximum(*(asked.at(runs.line, at_m) for at_m in ends))
    show, station = units.show_length, county.network.lines.station_m
    what = [
        f"whether {name} falls over {show(end - begin)} cannot be told"
        for name, begin, end in zip(asked.case.name_of_line(runs.line), runs.from_m, runs.to_m)
    ]
    todo = [
        f"Shoot the invert at stations {show(one)} and {show(two)}: {what_settles(fall, limits, units)}."
        for one, two, fall in zip(station(runs.line, runs.from_m), station(runs.line, runs.to_m), runs.fall_m.tolist())
    ]
    return _doubts(asked, "reverse-grade", area, runs.line, (runs.from_m + runs.to_m) / 2, LEVEL, what, todo)


def _heights(asked: _Asked) -> Doubts:
    """Pipe without inverts, one row a line."""
    line = np.unique(asked.county.grades.unknown_line)
    what = [f"nobody knows how high {name} lies" for name in asked.case.name_of_line(line)]
    lowest = asked.lowest_of_lines(line) if len(line) else line
    return _doubts(asked, "unknown-elevation", asked.through_m2[lowest], line, _middles(asked, line), LEVEL, what,
                   "Shoot an invert at both ends with a level.")


def _sizes(asked: _Asked) -> Doubts:
    net = asked.county.network
    used = np.unique(net.pieces.line)
    line = used[np.isnan(net.drains.diameter_m[net.lines.drain[used]])]
    what = [f"nobody knows the size of {name}" for name in asked.case.name_of_line(line)]
    lowest = asked.lowest_of_lines(line) if len(line) else line
    return _doubts(asked, "unknown-size", asked.through_m2[lowest], line, _middles(asked, line), LOOK, what,
                   "Measure the inside diameter at an outlet or the next opening.")


def _outlets(asked: _Asked) -> Doubts:
    """Free ends that were taken for outlets."""
    net, county = asked.county.network, asked.county
    node = net.outlets.node[net.outlets.assumed]
    arrived = county.down.in_pools(county.down.sum_down(county.piece_area_m2), county.piece_area_m2)
    piece = np.array([np.flatnonzero((net.pieces.node_from == n) | (net.pieces.node_to == n))[0] for n in node],
                     dtype=np.int64)
    line = net.pieces.line[piece]
    what = [f"the free end of {name} was taken for an outlet" for name in asked.case.name_of_line(line)]
    at_m = np.where(net.pieces.node_from[piece] == node, net.pieces.from_m[piece], net.pieces.to_m[piece])
    return _doubts(asked, "no-outlet", arrived[county.down.pool[node]], line, at_m, LOOK, what,
                   "Look for the outlet here and mark it with a structure of kind outlet.")


def _assumed_pipe(asked: _Asked) -> Doubts:
    """Pipe in the network that is only assumed."""
    net = asked.county.network
    used = np.unique(net.pieces.line)
    line = used[net.drains.evidence[net.lines.drain[used]] == "assumed"]
    what = [f"{name} is assumed, nobody has seen it" for name in asked.case.name_of_line(line)]
    lowest = asked.lowest_of_lines(line) if len(line) else line
    return _doubts(asked, "assumed-pipe", asked.through_m2[lowest], line, _middles(asked, line), PROBE, what,
                   "Probe it once; then set its evidence to probed or disproved.")


def _contradicted(asked: _Asked) -> Doubts:
    """Pipe whose inverts fall away from the only outlet, one row a system."""
    line = np.unique(asked.county.contradicted.line)
    _, first = np.unique(asked.systems.of_line[line], return_index=True)
    line = line[first]
    what = [f"the inverts on {name} fall away from the only outlet" for name in asked.case.name_of_line(line)]
    return _doubts(asked, "elevation-contradicts-outlet", _whole(asked, line), line, _middles(asked, line), LEVEL,
                   what, "Shoot the outlet and the top of the main once more, and look for another outlet.")


def _flow(asked: _Asked) -> Doubts:
    """Systems in which nobody knows which way some pipe flows, rings open both ways included."""
    net = asked.county.network
    line = np.unique(net.pieces.line[net.direction == 0])
    _, first = np.unique(asked.systems.of_line[line], return_index=True)
    line = line[first]
    what = [f"nobody knows which way the water runs at {name}" for name in asked.case.name_of_line(line)]
    return _doubts(asked, "unknown-flow", _whole(asked, line), line, _middles(asked, line), LEVEL, what,
                   "Find and mark the outlet, or shoot two inverts.")


def _whole(asked: _Asked, line: np.ndarray) -> np.ndarray:
    """Land of the whole system of each line."""
    return asked.systems.area_m2[asked.systems.of_line[line]]


def _middles(asked: _Asked, line: np.ndarray) -> np.ndarray:
    return asked.county.network.lines.length_m[line] / 2
