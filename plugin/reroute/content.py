"""From a judged reroute to the content of its page."""

from __future__ import annotations

import numpy as np
import shapely

from ..checks.run import Results
from ..elevation.grade import UNKNOWN
from ..network.near_trees import near_trees
from ..report.cautions import CAUTIONS, NOT_IN_THIS_VERSION
from ..report.content import Facts, Figure, Missed, RerouteContent, Table
from ..report.markup import NONE, show_number, show_probability
from ..report.order import group_findings, missed_checks
from ..report.profile import profile_svg
from ..report.profile_data import CROSSING, FIXED, TIE_IN, CallStretch, Mark, Profile, TreeStretch
from ..report.thumbnail import Thumbnail, thumbnail_svg, thumbnail_view
from .judge import Reroute
from .left_behind import LeftBehind
from .margins import crossings, find_margins
from .meetings import FOLLOWS
from .stations import station_columns
from .tie_checks import climbs
from .way_checks import cover_of
from .words import (
    fall_sentences,
    fall_words,
    further_sentences,
    grade_words,
    invert_words,
    left_sentences,
    margin_words,
    meeting_words,
    pipe_name,
    place_name,
    serious_sentences,
    size_words,
)

_MOST_PIPES = 300
_MAINS = ("main", "submain", "outlet_pipe")


def reroute_content(
    reroute: Reroute, results: Results, facts: Facts, left: LeftBehind | None = None
) -> RerouteContent:
    """Everything `render_reroute` shows."""
    verdict, case = reroute.verdict, reroute.case
    used = dict.fromkeys(name for check in results.findings.checks for name in check.limits)
    broken = tuple(Missed(one.check.title, f"It broke off by a fault of the program: {one.error}")
                   for one in results.crashed)
    return RerouteContent(
        facts=facts,
        call=verdict.call,
        p_reverse=verdict.p_reverse,
        sentences=(
            *fall_sentences(reroute), *serious_sentences(results.findings),
            *further_sentences(reroute, results.findings),
        ),
        numbers=tuple(_numbers(reroute)),
        profile=Figure(profile_svg(reroute_profile(reroute)), _PROFILE_WORDS, True),
        maps=(_map(reroute),),
        crosses=_crosses(reroute),
        trees=_trees(reroute, results),
        cover=_cover(reroute),
        stations=_stations(reroute),
        left=_left(reroute, left),
        climbs=climbs(reroute),
        groups=group_findings(results.findings, case.network, case.limits),
        not_checked=(*missed_checks(results.not_checked, case.drains), *broken),
        limits=tuple(case.limits.of(name) for name in used),
        cannot_make=NOT_IN_THIS_VERSION,
        cautions=CAUTIONS,
    )


_PROFILE_WORDS = "The new pipe as a straight grade between its two ends. Stations count from the lower end."


def _numbers(reroute: Reroute):
    verdict, units, pipe = reroute.verdict, reroute.county.units, reroute.plan.route
    known = verdict.call != UNKNOWN
    yield "Length", units.show_length(verdict.length_m)
    yield "New pipe", fall_words("It", verdict.fall_m, verdict.length_m, units)[3:] if known else "unknown"
    if known:
        yield "Standard error of the fall", units.show_length(verdict.sigma_m, 3)
        yield "Chance that it runs backwards", show_probability(verdict.p_reverse)
    yield "Upper end", f"{place_name(reroute, reroute.upper)}: {invert_words(reroute.upper, units)}"
    yield "Lower end", f"{place_name(reroute, reroute.lower)}: {invert_words(reroute.lower, units)}"
    if np.isfinite(verdict.least_grade):
        asked = "asked for" if verdict.asked else "by the least velocity"
        chance = f"; chance that it has that: {show_probability(verdict.p_least)}" if known else ""
        yield "Least grade", f"{grade_words(verdict.least_grade)}, {asked}{chance}"
    ground = fall_words("It", verdict.ground_fall_m, verdict.length_m, units)[3:]
    yield "Ground", f"{ground}; decides nothing" if np.isfinite(verdict.ground_fall_m) else "unknown"
    size = size_words(reroute.plan.diameter_m, units)
    words = [str(w).replace("_", " ") for w in (pipe.material[0], pipe.openings[0]) if w is not None]
    yield "Size and kind", ", ".join([size, *words]).replace("none", "no openings")


def reroute_profile(reroute: Reroute) -> Profile:
    """The long section of the new pipe from its lower end."""
    case, verdict = reroute.case, reroute.verdict
    ground = case.ground
    at_m = np.array([0.0, verdict.length_m])
    if ground is not None:
        at_m = np.union1d(at_m, ground.places_m(reroute.line, reroute.line + 1))
    invert_m, sigma_m = reroute.invert_at(at_m)
    return Profile(
        title=f"Long section of {reroute.plan.name}",
        units=case.units,
        station_m=at_m,
        ground_m=reroute.ground_at(at_m),
        invert_m=invert_m,
        invert_error_m=sigma_m,
        diameter_m=reroute.plan.diameter_m,
        least_cover_m=case.limits["least_cover"],
        calls=(CallStretch(0.0, verdict.length_m, verdict.call),),
        marks=tuple(_marks(reroute)),
        trees=_tree_stretches(reroute),
        station_words="Distance from the lower end",
        flows_to_low_station=True if reroute.flow.sure else None,
    )


def _tree_stretches(reroute: Reroute) -> tuple[TreeStretch, ...]:
    """The new pipe within root distance, whatever its openings."""
    case = reroute.case
    if case.trees is None:
        return ()
    found = near_trees(case.network.lines, np.array([reroute.line]), case.trees, case.limits)
    return tuple(
        TreeStretch(begin, end, f"{case.trees.name[tree]}, {case.units.show_length(limit, 0)}")
        for begin, end, tree, limit in zip(found.from_m, found.to_m, found.tree, found.limit_m)
    )


def _marks(reroute: Reroute):
    network, met, fixed = reroute.network, reroute.meetings, reroute.plan.fixed
    for tie, at_m in ((reroute.lower, 0.0), (reroute.upper, reroute.verdict.length_m)):
        name = "" if tie.end.place is None else str(network.drains.name[network.lines.drain[tie.end.line]])
        yield Mark(at_m, name or "end", TIE_IN, tie.there_m if np.isfinite(tie.there_m) else tie.z_m)
    margins = find_margins(reroute)
    for row in crossings(reroute).tolist():
        name = str(network.drains.name[network.lines.drain[met.line[row]]])
        if np.isfinite(margins.invert_m[row]):
            yield Mark(float(met.station_m[row]), name, CROSSING, float(margins.invert_m[row]))
    for row in np.flatnonzero(np.isfinite(reroute.stations.fixed_at_m)).tolist():
        yield Mark(float(reroute.stations.fixed_at_m[row]), str(fixed.name[row]), FIXED,
                   least_m=float(fixed.least_m[row]), greatest_m=float(fixed.greatest_m[row]))


def _map(reroute: Reroute) -> Figure:
    network, case = reroute.network, reroute.case
    found = [network.lines.geometry[reroute.line]]
    title = f"{reroute.plan.name}, {case.units.show_length(reroute.verdict.length_m)}"
    view = shapely.box(*thumbnail_view(Thumbnail(title, case.units, found), *_MAP_SIZE).box_m)
    near = np.flatnonzero(network.active & shapely.intersects(network.lines.geometry, view))[:_MOST_PIPES]
    drain = network.lines.drain[near]
    land = [] if case.land is None else case.land.geometry[shapely.intersects(case.land.geometry, view)]
    trees = [] if case.trees is None else case.trees.geometry[shapely.intersects(case.trees.geometry, view)]
    thumbnail = Thumbnail(
        title, case.units, found, reroute.verdict.call, reroute.plan.name, network.lines.geometry[near],
        network.drains.name[drain], np.isin(network.drains.role[drain].astype(str), _MAINS), land, trees,
    )
    return Figure(thumbnail_svg(thumbnail, *_MAP_SIZE), reroute.flow.why, True)


_MAP_SIZE = (900.0, 480.0)


def _crosses(reroute: Reroute) -> Table:
    """Both tie-ins and every pipe on the way."""
    units, network, met = reroute.county.units, reroute.network, reroute.meetings
    margins = find_margins(reroute)
    rows = [(units.show_station(0.0), f"lower end: {place_name(reroute, reroute.lower)}",
             _height(reroute.lower.there_m, units), _height(reroute.lower.z_m, units), "")]
    for row in range(len(met)):
        size = size_words(float(network.drains.diameter_m[network.lines.drain[met.line[row]]]), units)
        told = margin_words(margins, row, units)
        if met.kind[row] == FOLLOWS:
            told = f"follows its line for {units.show_length(float(met.length_m[row]))}"
        rows.append((units.show_station(float(met.station_m[row])), f"{meeting_words(reroute, row)}, {size}",
                     _height(margins.invert_m[row], units), _height(margins.new_invert_m[row], units), told))
    rows.append((units.show_station(reroute.verdict.length_m), f"upper end: {place_name(reroute, reroute.upper)}",
                 _height(reroute.upper.there_m, units), _height(reroute.upper.z_m, units), ""))
    heads = ("Station", "Pipe", f"Its invert ({units.length_name})", f"New invert ({units.length_name})", "Detail")
    return Table(heads, tuple(rows), "")


def _height(z_m: float, units) -> str:
    return NONE if np.isnan(z_m) else f"{z_m / units.length_m:.3f}"


def _trees(reroute: Reroute, results: Results) -> Table:
    """The findings of near-trees; for solid pipe that there is none."""
    units, lines, found = reroute.county.units, reroute.network.lines, results.findings.of("near-trees")
    rows = []
    for row in range(len(found)):
        ends = lines.station_m(found.line[row], np.array([found.from_m[row], found.to_m[row]]))
        where = " to ".join(units.show_station(float(end)) for end in ends)
        length = units.show_length(float(found.to_m[row] - found.from_m[row]))
        rows.append((pipe_name(reroute, int(found.line[row])), where, length, str(found.detail[row])))
    if reroute.case.trees is None:
        none = "Not checked: no trees were given."
    elif reroute.plan.route.openings[0] == "none":
        none = "The new pipe is solid, and no old pipe that stays at its ends lies within root distance."
    else:
        none = "No tree stands within root distance of the new pipe, nor of the old pipe that stays at its ends."
    return Table(("Pipe", "From and to", "Length", "Detail"), tuple(rows), none)


def _cover(reroute: Reroute) -> Table:
    """Least cover and greatest depth, with their limits."""
    case, units = reroute.case, reroute.county.units
    if cover_of(reroute) is None:
        return Table((), (), "Not checked: the ground, or an invert at one end, is not known. See below.")
    at_m = case.ground.places_m(reroute.line, reroute.line + 1)
    depth_m = reroute.ground_at(at_m) - reroute.invert_at(at_m)[0]
    if not np.isfinite(depth_m).any():
        return Table((), (), "Not checked: the ground is missing along the whole route.")
    rows = []
    for what, values_m, pick, limit, word in (
        ("Least earth above the pipe", depth_m - reroute.plan.diameter_m, np.nanargmin, "least_cover", "at least"),
        ("Greatest depth, ground to invert", depth_m, np.nanargmax, "greatest_depth", "at most"),
    ):
        told = f"{word} {units.show_length(case.limits[limit])}: {case.limits.of(limit).shown_source}"
        if np.isfinite(values_m).any():
            worst = int(pick(values_m))
            value = show_number(values_m[worst] / units.length_m, units.length_name)
            rows.append((what, f"{value} at {units.show_station(float(at_m[worst]))}", told))
        else:
            rows.append((what, "unknown: give DIAMETER", told))
    return Table(("What", "Value", "Limit"), tuple(rows), "")


def _left(reroute: Reroute, left: LeftBehind | None) -> Table:
    """Drains that hang on the old run only."""
    units, drains = reroute.county.units, reroute.network.drains
    if left is None or not left.count:
        return Table((), (), " ".join(left_sentences(left, units)))
    rows = tuple(
        (str(drains.name[drain]), "stub below the new pipe" if is_stub else "the whole drain",
         units.show_length(length_m), f"{area_m2 / units.area_m2:,.3f}")
        for drain, is_stub, length_m, area_m2 in zip(left.drain.tolist(), left.is_stub.tolist(),
                                                     (left.to_m - left.from_m).tolist(), left.areas_m2.tolist())
    )
    return Table(("Drain", "What is left", "Length", f"Land ({units.area_name})"), rows, "")


def _stations(reroute: Reroute) -> Table:
    columns, _ = station_columns(reroute)
    length = reroute.county.units.length_name
    shown = ("ground", "invert", "cut", "cover")
    rows = tuple(
        (columns["label"][k], *(NONE if np.isnan(columns[c][k]) else f"{columns[c][k]:.3f}" for c in shown),
         columns["note"][k] or "")
        for k in range(len(columns["label"]))
    )
    heads = ("Station", *(f"{word} ({length})" for word in ("Ground", "Invert", "Cut", "Cover")), "What is here")
    return Table(heads, rows, "")
