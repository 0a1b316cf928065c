"""Drawings of the worst findings of a check: small maps, and the long section of the pipe where its height matters."""

from __future__ import annotations

import numpy as np
import shapely

from ..checks.case import Case
from ..checks.declare import UNKNOWN
from ..checks.run import Findings
from .content import Figure
from .order import worst_first
from .profile import profile_svg
from .profile_data import JOINT, STRUCTURE, CallStretch, Mark, Profile
from .thumbnail import Thumbnail, thumbnail_svg, thumbnail_view

MAPS_SHOWN = 2
_MOST_PIPES = 300
_MAINS = ("main", "submain", "outlet_pipe")
_CHECKS_OF_HEIGHT = (
    "elevation-contradicts-outlet", "reverse-grade", "flat-grade", "steep-grade", "sag", "sill-downstream",
    "shallow-cover", "deep-trench", "stale-inverts",
)


def finding_figures(findings: Findings, case: Case, maps_shown: int = MAPS_SHOWN) -> dict[str, tuple[Figure, ...]]:
    """Drawings by check id: maps of its worst findings, and a long section for the checks of height."""
    order = worst_first(findings)
    tree = shapely.STRtree(case.network.lines.geometry)
    drawn = {}
    for place, check in enumerate(findings.checks):
        rows = order[findings.check[order] == place]
        where = (findings.line[rows] >= 0) | np.isfinite(findings.x_m[rows])
        figures = [_map(findings, int(row), case, tree) for row in rows[where][:maps_shown]]
        on_line = findings.line[rows][findings.line[rows] >= 0]
        if check.id in _CHECKS_OF_HEIGHT and len(on_line):
            figures.insert(0, _section(case, int(on_line[0])))
        drawn[check.id] = tuple(figures)
    return drawn


def _section(case: Case, line: int) -> Figure:
    profile = line_profile(case, line)
    return Figure(profile_svg(profile), f"{profile.title}, which has the first row below.", True)


def _map(findings: Findings, row: int, case: Case, tree: shapely.STRtree) -> Figure:
    net, line = case.network, int(findings.line[row])
    if findings.place[row] and np.isfinite(findings.x_m[row]):
        found = [shapely.Point(findings.x_m[row], findings.y_m[row])]
    else:
        found = list(net.lines.cut(np.array([line]), findings.from_m[[row]], findings.to_m[[row]]))
    name = str(net.drains.name[findings.drain[row]]) if findings.drain[row] >= 0 else ""
    title = ", ".join(word for word in (name, _stations(findings, row, case)) if word) or "On no drain"
    view = shapely.box(*thumbnail_view(Thumbnail(title, case.units, found)).box_m)
    near = np.sort(tree.query(view, predicate="intersects"))
    near = near[net.active[near]][:_MOST_PIPES]
    drain = net.lines.drain[near]
    land = [] if case.land is None else case.land.geometry[shapely.intersects(case.land.geometry, view)]
    thumbnail = Thumbnail(
        title, case.units, found, str(findings.call[row]), name, net.lines.geometry[near], net.drains.name[drain],
        np.isin(net.drains.role[drain].astype(str), _MAINS), land,
    )
    return Figure(thumbnail_svg(thumbnail), str(findings.detail[row] or title))


def _stations(findings: Findings, row: int, case: Case) -> str:
    if findings.line[row] < 0:
        return ""
    ends = case.network.lines.station_m(findings.line[row], np.array([findings.from_m[row], findings.to_m[row]]))
    words = dict.fromkeys(case.units.show_station(float(end)) for end in ends)
    return " to ".join(words)


def line_profile(case: Case, line: int) -> Profile:
    """The long section of one line, by its stations as drawn; calls are those of the county's grades."""
    county, net = case.county, case.network
    drain, grades = net.lines.drain[line], county.grades
    pieces = np.flatnonzero(net.pieces.line == line)
    called = np.flatnonzero(grades.line == line)
    unknown = np.flatnonzero(grades.unknown_line == line)
    edges = [
        [0.0, net.lines.length_m[line]],
        net.pieces.from_m[pieces], grades.from_m[called], grades.to_m[called], _ground_places(case, line),
        county.evidence.points.at_m[county.evidence.points.line == line],
    ]
    at_m = np.unique(np.concatenate(edges))
    of_line = np.full(len(at_m), line)
    inverts = county.evidence.invert_at(of_line, at_m)
    ground = np.full(len(at_m), np.nan) if case.ground is None else case.ground.at(of_line, at_m)
    base = float(net.lines.station0_m[line])
    calls = [(grades.from_m[row], grades.to_m[row], str(grades.call[row])) for row in called]
    calls += [(grades.unknown_from_m[row], grades.unknown_to_m[row], UNKNOWN) for row in unknown]
    return Profile(
        title=f"Long section of {net.drains.name[drain]}",
        units=case.units,
        station_m=base + at_m,
        ground_m=ground,
        invert_m=inverts.z_m,
        invert_error_m=inverts.sigma_m,
        diameter_m=float(net.drains.diameter_m[drain]),
        least_cover_m=case.limits["least_cover"],
        calls=tuple(CallStretch(base + start, base + stop, call) for start, stop, call in calls),
        marks=tuple(_joints(case, line, pieces) + _structures(case, line)),
        station_words="Station along the drain as drawn",
        flows_to_low_station=_flows_to_low_station(net.direction[pieces]),
    )


def _ground_places(case: Case, line: int) -> np.ndarray:
    if case.ground is None:
        return np.zeros(0)
    return case.ground.places_m(line, line + 1)


def _flows_to_low_station(direction: np.ndarray) -> bool | None:
    """None where the pipe flows both ways or nobody knows."""
    if not len(direction) or (direction != direction[0]).any() or direction[0] == 0:
        return None
    return bool(direction[0] < 0)


def _joints(case: Case, line: int, pieces: np.ndarray) -> list[Mark]:
    """Where other drains join, with their names and their own inverts."""
    net = case.network
    all_pieces = net.pieces
    node = np.concatenate([all_pieces.node_from[pieces], all_pieces.node_to[pieces]])
    at_m = np.concatenate([all_pieces.from_m[pieces], all_pieces.to_m[pieces]])
    place = dict(zip(node.tolist(), at_m.tolist()))
    marks = {}
    for ends, own_at_m in ((all_pieces.node_from, all_pieces.from_m), (all_pieces.node_to, all_pieces.to_m)):
        rows = np.flatnonzero(np.isin(ends, node) & (all_pieces.line != line))
        level = case.county.evidence.measured_at(all_pieces.line[rows], own_at_m[rows]).z_m
        for row, height in zip(rows.tolist(), level.tolist()):
            name = str(net.drains.name[net.piece_drain[row]])
            at = float(net.lines.station0_m[line]) + place[int(ends[row])]
            marks[name, round(at, 3)] = Mark(at, name, JOINT, height)
    return sorted(marks.values(), key=lambda mark: (mark.at_m, mark.name))


def _structures(case: Case, line: int) -> list[Mark]:
    """Structures on the line within the join tolerance, but joints."""
    net = case.network
    points = shapely.points(net.structures.xy_m)
    near = shapely.dwithin(points, net.lines.geometry[line], max(net.tolerance_m, 1e-6))
    rows = np.flatnonzero(near & (net.structures.kind != "joint"))
    at_m = shapely.line_locate_point(net.lines.geometry[line], points[rows])
    base = float(net.lines.station0_m[line])
    return [
        Mark(base + float(at), str(net.structures.name[row]), STRUCTURE, float(net.structures.invert_m[row]))
        for row, at in zip(rows, at_m)
    ]
