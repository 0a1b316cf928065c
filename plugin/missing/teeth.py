"""Laterals left out of a row: a gap among regular gaps that is a whole number of them wide.

None is guessed beyond the last lateral of a row, across the edge of a field, where other pipe is drawn, or between the
laterals of two systems that each have an outlet.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely.ops import substring

from ..checks.case import Case
from ..county import County
from ..land.owners import LandMap
from ..tables import Land
from .combs import Combs
from .field_edges import FieldEdges
from .probable import GUESS, LATERAL, LIKELY, POSSIBLE, Probable, alike
from .regular import WideGaps, wide_gaps
from .stake import Systems

_STATIONS = 17  # places along two neighbours between which a lateral is drawn
_ACROSS = 0.4  # of a spacing to either side in which other pipe speaks against it
_OTHER_PIPE = 0.25  # share of its length that may have other pipe beside it
_TRIM = 0.45  # of a spacing at either end that is not looked at: there the main runs
_SIMPLE_M = 0.02


def missing_teeth(
    county: County, combs: Combs, land: Land | None, is_canceled: Callable[[], bool] = lambda: False
) -> list[Probable]:
    """Probable laterals in the gaps of combs."""
    gaps = wide_gaps(combs, county.limits)
    gaps = gaps.where(~_spacing_says_so(county, gaps) & ~_of_two_systems(county, gaps))
    edges = None if land is None or not len(land) else FieldEdges(land, LandMap.of(land))
    tree = shapely.STRtree(county.network.lines.geometry)
    found: list[Probable] = []
    for row in range(len(gaps)):
        if is_canceled():
            break
        found += _teeth_in(county, gaps, row, edges, tree)
    return found


def _spacing_says_so(county: County, gaps: WideGaps) -> np.ndarray:
    """Gaps as wide as the archive says that the laterals beside them lie apart."""
    net = county.network
    stated = np.fmin(*(net.drains.spacing_m[net.lines.drain[line]] for line in (gaps.one, gaps.other)))
    return np.abs(stated - gaps.gap_m) <= county.limits["gap_misfit"] * gaps.gap_m


def _of_two_systems(county: County, gaps: WideGaps) -> np.ndarray:
    """Gaps between laterals that drain to two outlets."""
    systems = Systems(county, joined=True)
    one, other = systems.of_line[gaps.one], systems.of_line[gaps.other]
    return (one != other) & systems.has_outlet[one] & systems.has_outlet[other]


def _teeth_in(
    county: County, gaps: WideGaps, row: int, edges: FieldEdges | None, tree: shapely.STRtree
) -> list[Probable]:
    one, other = (_places(county, line, turned) for line, turned in (
        (gaps.one[row], gaps.one_turned[row]), (gaps.other[row], gaps.other_turned[row])))
    count = int(gaps.count[row])
    if edges is not None and not edges.one_field(one, other, 4 * count):
        return []
    ends = _receiving_ends(county, int(gaps.one[row]), int(gaps.other[row]))
    spacing_m = float(gaps.gap_m[row]) / count
    found = []
    for number in range(1, count):
        share = number / count
        line = shapely.LineString(one + share * (other - one)).simplify(_SIMPLE_M)
        line = _to_pipe(line, ends, 0.5 * spacing_m)
        if line.length < spacing_m or _other_pipe(county, line, spacing_m, gaps, row, tree):
            continue
        found.append(_probable(county, gaps, row, line, share, spacing_m, edges))
    return found


def _places(county: County, line: int, turned: bool) -> np.ndarray:
    """Places along a line from the side on which the first of its comb begins."""
    lines = county.network.lines
    at_m = np.linspace(0.0, lines.length_m[line], _STATIONS)
    xy = lines.points_at(np.full(_STATIONS, line), at_m)
    return xy[::-1] if turned else xy


def _receiving_ends(county: County, one: int, other: int) -> list[shapely.Geometry]:
    """Pipe that both neighbours, or either, run into: a lateral between them would run into it too."""
    net = county.network
    used, tree = net.line_index
    found = []
    for line in (one, other):
        ends = shapely.points(net.lines.xy[[net.lines.first[line], net.lines.first[line + 1] - 1]])
        _, hit = tree.query(ends, predicate="dwithin", distance=max(net.tolerance_m, 0.01))
        found += [net.lines.geometry[k] for k in used[np.unique(hit)].tolist() if k not in (one, other)]
    return found


def _to_pipe(line: shapely.LineString, receiving: list, reach_m: float) -> shapely.LineString:
    """The line led on, or cut back, to where it meets the receiving pipe within reach of its end."""
    xy = shapely.get_coordinates(line)
    pipe = shapely.unary_union(receiving)
    for end, next_ in ((0, 1), (-1, -2)):
        step = xy[end] - xy[next_]
        step = step / np.hypot(*step) * reach_m
        onward = shapely.LineString([xy[end] - step, xy[end] + step])
        meets = shapely.get_coordinates(shapely.intersection(onward, pipe))
        if len(meets):
            xy[end] = meets[np.argmin(np.hypot(*(meets - xy[end]).T))]
    return shapely.LineString(xy)


def _other_pipe(
    county: County, line: shapely.LineString, spacing_m: float, gaps: WideGaps, row: int, tree: shapely.STRtree
) -> bool:
    """Whether other pipe, also such as is no longer or not yet in the ground, is drawn where the lateral would lie."""
    trim_m = min(_TRIM * spacing_m, 0.3 * line.length)
    middle = substring(line, trim_m, line.length - trim_m)
    strip = shapely.buffer(middle, _ACROSS * spacing_m, cap_style="flat")
    near = np.setdiff1d(tree.query(strip, predicate="intersects"), [gaps.one[row], gaps.other[row]])
    beside = shapely.length(shapely.intersection(county.network.lines.geometry[near], strip))
    return bool((beside > _OTHER_PIPE * middle.length).any())


def _probable(
    county: County, gaps: WideGaps, row: int, line: shapely.LineString, share: float, spacing_m: float,
    edges: FieldEdges | None,
) -> Probable:
    net = county.network
    pair = np.array([gaps.one[row], gaps.other[row]])
    drain = net.lines.drain[pair]
    length, names = county.units.show_length, Case(county).name_of_line(pair)
    stated = net.drains.spacing_m[drain]
    agrees = bool((np.abs(stated - spacing_m) <= county.limits["gap_misfit"] * spacing_m).all())
    reasons = [
        f"{length(float(gaps.gap_m[row]))} lie between {names[0]} and {names[1]}, where the laterals around are "
        f"{length(float(gaps.usual_m[row]))} apart (middle of {int(gaps.seen[row])} gaps)",
    ]
    reasons.append("the spacing in the archive agrees" if agrees else "no spacing in the archive bears it out")
    reasons.append("both lie in one field" if edges is not None else
                   "no LAND was given: a road or the edge of a field may lie there")
    reasons.append("no other pipe is drawn there")
    if gaps.may_be_laid_so[row]:
        reasons.append(f"{int(gaps.wide_too[row])} gaps around are wide too: the laterals may have been laid so")
    start, end = (_inverts(county, pair, gaps, row, share, side) for side in (0, 1))
    turn, known = _flow(county, pair, gaps, row)
    if turn:
        line, (start, end) = line.reverse(), (end, start)
    return Probable(
        kind=LATERAL, geometry=line, confidence=_confidence(gaps, row, agrees, edges is not None),
        reasons=tuple(reasons), area_m2=line.length * spacing_m, beside=tuple(pair.tolist()), role="lateral",
        flow_known=known, spacing_m=spacing_m, diameter_m=float(alike(net.drains.diameter_m[drain], np.nan)),
        material=alike(net.drains.material[drain], None), invert_start_m=start, invert_end_m=end,
    )


def _confidence(gaps: WideGaps, row: int, spacing_agrees: bool, in_field: bool) -> str:
    one = int(gaps.count[row]) == 2
    regular = gaps.scatter[row] <= 0.1 and gaps.seen[row] >= 3
    if gaps.may_be_laid_so[row]:
        return GUESS
    if one and regular and gaps.both_sides[row] and (spacing_agrees or in_field):
        return LIKELY
    return POSSIBLE if one or (int(gaps.count[row]) == 3 and regular and in_field) else GUESS


def _inverts(county: County, pair: np.ndarray, gaps: WideGaps, row: int, share: float, side: int) -> float:
    """Invert half-way between those of the two neighbours at one side, NaN where either is unknown."""
    lines, turned = county.network.lines, (gaps.one_turned[row], gaps.other_turned[row])
    at_m = np.array([lines.length_m[line] * (bool(back) != bool(side)) for line, back in zip(pair, turned)])
    z_m = county.network.levels.level_at(pair, at_m)
    return float(z_m[0] + share * (z_m[1] - z_m[0]))


def _flow(county: County, pair: np.ndarray, gaps: WideGaps, row: int) -> tuple[bool, bool]:
    """Whether the line has to be turned to run the way the neighbours' water flows, and whether that is known."""
    net = county.network
    ways = set()
    for line, turned in zip(pair.tolist(), (gaps.one_turned[row], gaps.other_turned[row])):
        direction = net.direction[net.pieces.line == line]
        ways |= {int(d) * (-1 if turned else 1) for d in direction.tolist()}
    return ways == {-1}, len(ways) == 1 and 0 not in ways
