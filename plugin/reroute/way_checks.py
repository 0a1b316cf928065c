"""Checks of a new pipe's way: earth above it, trees, lots, and the drains it meets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from ..checks.declare import CANNOT_TELL, FOUND, UNKNOWN, NotChecked, Severity, Stretches, check
from ..elevation.cover import CoverJudged, judge_cover
from ..elevation.sources import Source
from ..network.inside import stretches_inside
from ..network.near_trees import near_trees as find_near_trees
from . import margins as meeting
from .ends import PIPE
from .kept import kept_near_trees, way_down, way_up
from .meetings import FOLLOWS
from .words import margin_words, meeting_words

if TYPE_CHECKING:
    from .judge import Reroute

OPENED_M = 1.0  # a crossed drain is shown as that much of it on either side


def cover_of(reroute: Reroute) -> CoverJudged | None:
    """Earth above the new pipe and its depth, judged continuously; None where its inverts or the ground are unknown.

    Inverts that are themselves ground less a usual depth are no knowledge of the depth.
    """
    ties = (reroute.lower, reroute.upper)
    if reroute.case.ground is None or any(tie.source in (Source.DEFAULT_DEPTH, Source.NONE) for tie in ties):
        return None
    only = np.zeros(len(reroute.network.lines), dtype=bool)
    only[reroute.line] = True
    limits = reroute.case.limits
    return judge_cover(reroute.county.evidence, only, limits["least_cover"], limits["greatest_depth"])


def _depth_unknown(reroute: Reroute, judged: CoverJudged | None) -> Iterator[NotChecked]:
    """Why the depth is not known, on all of the pipe or on part of it."""
    if reroute.case.ground is None:
        yield NotChecked(reroute.case.ground_fault or "No ground raster was given: choose GROUND.")
    elif judged is None:
        yield NotChecked("An end has no invert but ground less a usual depth, or none: shoot it.")
    elif len(judged.unknown):
        length = reroute.county.units.show_length(float(judged.unknown.length_m.sum()))
        yield NotChecked(f"The ground is missing along {length} of the route.")


@check(
    id="shallow-cover",
    title="Too little earth above the new pipe",
    remedy="Lead the route through higher ground, sleeve the pipe there, or keep heavy loads off.",
    false_alarm="A ditch or dip in the raster beside the route; shoot the ground there.",
    severity=Severity.DOUBT,
    source="cover = ground less invert less inside diameter",
    kind="length",
    limits=("least_cover",),
    worst="min",
)
def shallow_cover(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: the least cover in the stretch."""
    judged = cover_of(reroute)
    yield from _depth_unknown(reroute, judged)
    if np.isnan(reroute.plan.diameter_m):
        yield NotChecked("The size of the new pipe is unknown: give DIAMETER.")
    if judged is not None:
        found = judged.shallow
        yield Stretches(found.line, found.from_m, found.to_m, found.worst_m, reroute.case.limits["least_cover"])


@check(
    id="deep-trench",
    title="New pipe lies deeper than the greatest depth",
    remedy="Plan trench protection and check that the pipe may carry that load, or go through lower ground.",
    false_alarm="Heavier pipe and narrow trenches allow more: give GREATEST_DEPTH.",
    severity=Severity.DOUBT,
    source="depth = ground less invert",
    kind="length",
    limits=("greatest_depth",),
    worst="max",
)
def deep_trench(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: the greatest depth in the stretch."""
    judged = cover_of(reroute)
    yield from _depth_unknown(reroute, judged)
    if judged is not None:
        found = judged.deep
        yield Stretches(found.line, found.from_m, found.to_m, found.worst_m, reroute.case.limits["greatest_depth"])


@check(
    id="near-trees",
    title="Roots of trees can reach the pipe",
    remedy="Lay solid pipe with tight joints along the stretches of new pipe, or keep farther off; old pipe that stays "
           "there is the next to plug: replace it in the same job.",
    false_alarm="Trees that are gone, or old pipe without openings whose openings are not recorded.",
    severity=Severity.DOUBT,
    source="distance from the pipe to the trunk, row or wood",
    kind="length",
    limits=("tree_distance_high", "tree_distance_ordinary"),
    worst="min",
)
def near_trees(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """The new pipe unless it is solid, and the old pipe that stays, from both ends on. Value: distance of the tree."""
    case, trees = reroute.case, reroute.case.trees
    if trees is None:
        yield NotChecked("No trees were given: choose TREES (trees, tree rows, woods).")
        return
    length, openings = case.units.show_length, reroute.plan.route.openings[0]
    if openings != "none":
        found = find_near_trees(reroute.network.lines, np.array([reroute.line]), trees, case.limits)
        unsure = found.thirst_unknown | (openings is None)
        ordinary = length(case.limits["tree_distance_ordinary"], 0)
        detail = [
            f"{length(end - begin)} of the new pipe, {length(inner)} of it within {ordinary}; nearest {name}"
            for begin, end, name, inner in zip(found.from_m, found.to_m, trees.name[found.tree], found.inner_m)
        ]
        yield Stretches(found.line, found.from_m, found.to_m, found.distance_m, found.limit_m,
                        call=np.where(unsure, CANNOT_TELL, FOUND).astype(object), detail=np.array(detail, dtype=object))
    yield from _kept(reroute)


def _kept(reroute: Reroute) -> Iterator[Stretches]:
    case, trees, network = reroute.case, reroute.case.trees, reroute.network
    length = case.units.show_length
    for tie, which in ((reroute.lower, "below the lower end"), (reroute.upper, "above the upper end")):
        if tie.end.kind != PIPE:
            continue
        way = way_up(reroute.county, tie.end.place) if tie is reroute.upper else way_down(reroute.county, tie.end.below)
        found = kept_near_trees(reroute.county, way, trees)
        openings = network.drains.openings[network.lines.drain[found.line]]
        unsure = found.thirst_unknown | np.equal(openings, None)
        detail = [
            f"old pipe that stays {which}: {length(end - begin)}, part of {length(whole)} that begin "
            f"{'at the tie-in' if start < 0.01 else length(start) + ' from it'}; nearest {name}"
            for begin, end, whole, start, name in zip(
                found.from_m, found.to_m, found.whole_m, found.starts_m, trees.name[found.tree]
            )
        ]
        yield Stretches(found.line, found.from_m, found.to_m, found.distance_m, found.limit_m,
                        call=np.where(unsure, CANNOT_TELL, FOUND).astype(object), detail=np.array(detail, dtype=object))


@check(
    id="crossing-not-joined",
    title="New pipe meets a drain",
    remedy="Tie it in where it may enter, else carry it across in solid pipe. The part between here and the old run "
           "still drains to the old run: see to both.",
    false_alarm="The drain may lie elsewhere than it is drawn: probe before opening.",
    severity=Severity.DOUBT,
    source="inverts of both pipes at the crossing with normal errors",
    kind="length",
    limits=("p_reverse", "p_falls"),
    worst="min",
)
def crossing_not_joined(reroute: Reroute) -> Iterator[Stretches]:
    """Value: invert of the drain above the new invert; limit 0. Probability: that it lies below and cannot enter.

    A note where it may enter, serious where it lies too low, else a doubt. The row is of the drain that is met.
    """
    met, units, lines = reroute.meetings, reroute.county.units, reroute.network.lines
    if not len(met):
        return
    found = meeting.find_margins(reroute)
    follows = met.kind == FOLLOWS
    reach_m = np.where(follows, met.length_m / 2.0, OPENED_M)
    state = np.where(follows, meeting.ENTERS, found.state)
    severity = {meeting.ENTERS: Severity.NOTE, meeting.BELOW: Severity.SERIOUS}
    call = {CANNOT_TELL: CANNOT_TELL, UNKNOWN: UNKNOWN}
    detail = []
    for row in range(len(met)):
        told = f"at {units.show_station(met.station_m[row])} of the new pipe, which {meeting_words(reroute, row)}"
        if follows[row]:
            told = f"the new pipe follows its line for {units.show_length(met.length_m[row])}: it is replaced there"
        else:
            told += f"; {margin_words(found, row, units)}"
        detail.append(told)
    yield Stretches(
        met.line, np.maximum(met.at_m - reach_m, 0.0), np.minimum(met.at_m + reach_m, lines.length_m[met.line]),
        value=np.where(follows, np.nan, found.margin_m), limit=0.0,
        probability=np.where(follows, np.nan, found.p_below),
        call=np.array([call.get(one, FOUND) for one in state], dtype=object),
        severity=np.array([severity.get(one, Severity.DOUBT) for one in state], dtype=object),
        detail=np.array(detail, dtype=object),
    )


@check(
    id="under-lot",
    title="New pipe passes under a lot or road",
    remedy="Ask its owner, or the road authority, before digging; lay solid pipe there.",
    false_alarm="The outline may be drawn too large.",
    severity=Severity.NOTE,
    source="land of use lot or road",
    kind="length",
    worst="max",
)
def under_lot(reroute: Reroute) -> Iterator[Stretches | NotChecked]:
    """Value: length of pipe under it."""
    land, lines = reroute.case.land, reroute.network.lines
    if land is None:
        yield NotChecked("No land was given: choose LAND with fields, lots and roads.")
        return
    rows = np.flatnonzero(((land.use == "lot") | (land.use == "road"))
                          & shapely.intersects(land.geometry, lines.geometry[reroute.line]))
    row, from_m, to_m = stretches_inside(lines, np.full(len(rows), reroute.line), land.geometry[rows])
    detail = np.array([f"under {name}" for name in land.name[rows[row]]], dtype=object)
    yield Stretches(np.full(len(row), reroute.line), from_m, to_m, value=to_m - from_m, detail=detail)
