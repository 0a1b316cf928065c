"""Mains nobody drew: the lower ends of laterals stand in a row and no pipe runs along them."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.special import ndtr
from scipy.stats import theilslopes

from ..checks.case import Case
from ..county import County
from .combs import Combs
from .open_rows import OpenRow, open_rows
from .probable import GUESS, LIKELY, MAIN, POSSIBLE, Probable
from .stake import Systems

_OFF_LINE = 0.2  # of a spacing by which ends may lie off a straight main, in the middle
_TURN = 45.0  # degrees by which a main that follows its ends may turn
_BESIDE = 0.6  # of a spacing to either side in which other pipe speaks against it
_OTHER_PIPE = 0.3  # share of its length that may have other pipe beside it
_SAME_LINE = 0.3  # of a spacing between rows from both sides that end on one main
_PARALLEL = np.cos(np.radians(10.0))


def unmapped_mains(county: County, combs: Combs) -> list[Probable]:
    """A probable main for every row of open lower ends, one for two rows that meet from both sides."""
    rows = open_rows(county, combs)
    fitted = [(row, _through(row)) for row in rows]
    merged = _from_both_sides([(row, line) for row, line in fitted if line is not None])
    tree = shapely.STRtree(county.network.lines.geometry)
    return [_probable(county, group, line) for group, line in merged if not _is_mapped(county, group, line, tree)]


def _through(row: OpenRow) -> shapely.LineString | None:
    """The straight line through most ends, else the line that follows them; None where they stand in no row."""
    straight = _straight(row.xy)
    off_m = shapely.distance(shapely.points(row.xy), straight)
    if np.median(off_m) <= _OFF_LINE * row.spacing_m:
        return straight
    followed = shapely.LineString(row.xy).simplify(_OFF_LINE * row.spacing_m)
    step = np.diff(shapely.get_coordinates(followed), axis=0)
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    smooth = (np.abs(np.diff(heading)) <= np.radians(_TURN)).all()
    return followed if smooth else None


def _straight(xy: np.ndarray) -> shapely.LineString:
    """A line through points that a few far off do not turn: slopes and offsets are medians."""
    centre = np.median(xy, axis=0)
    along = xy[-1] - xy[0]
    along = along / np.hypot(*along)
    for _ in range(2):  # the second time in the frame of the first answer
        normal = np.array([-along[1], along[0]])
        place, off = (xy - centre) @ along, (xy - centre) @ normal
        slope, shift, *_ = theilslopes(off, place)
        centre = centre + shift * normal
        along = (along + slope * normal) / np.hypot(1.0, slope)
    place = (xy - centre) @ along
    return shapely.LineString([centre + place.min() * along, centre + place.max() * along])


def _from_both_sides(fitted: list) -> list[tuple[list[OpenRow], shapely.LineString]]:
    """Rows whose lines lie on one another are the two sides of one main."""
    groups: list[tuple[list[OpenRow], shapely.LineString]] = []
    for row, line in fitted:
        for number, (rows, other) in enumerate(groups):
            if _one_main(line, other, row.spacing_m):
                xy = np.concatenate([one.xy for one in (*rows, row)])
                axis = shapely.get_coordinates(line if line.length >= other.length else other)
                order = np.argsort((xy - axis[0]) @ (axis[-1] - axis[0]))
                whole = OpenRow(row.line, row.end, xy[order], row.by_inverts, row.spacing_m)
                groups[number] = ([*rows, row], _through(whole) or other)
                break
        else:
            groups.append(([row], line))
    return groups


def _one_main(one: shapely.LineString, other: shapely.LineString, spacing_m: float) -> bool:
    a, b = (xy[-1] - xy[0] for xy in map(shapely.get_coordinates, (one, other)))
    parallel = abs(float(a @ b)) >= _PARALLEL * np.hypot(*a) * np.hypot(*b)
    return parallel and one.interpolate(0.5, normalized=True).distance(other) <= _SAME_LINE * spacing_m


def _is_mapped(
    county: County, rows: list[OpenRow], line: shapely.LineString, tree: shapely.STRtree
) -> bool:
    """Whether pipe is drawn along the line already, of whatever status."""
    strip = shapely.buffer(line, _BESIDE * rows[0].spacing_m, cap_style="flat")
    near = np.setdiff1d(tree.query(strip, predicate="intersects"), np.concatenate([row.line for row in rows]))
    beside = shapely.length(shapely.intersection(county.network.lines.geometry[near], strip))
    return bool((beside > _OTHER_PIPE * line.length).any())


def _probable(county: County, rows: list[OpenRow], line: shapely.LineString) -> Probable:
    units = county.units
    members, xy = np.concatenate([row.line for row in rows]), np.concatenate([row.xy for row in rows])
    end = np.concatenate([row.end for row in rows])
    systems = Systems(county, joined=True)
    system = np.unique(systems.of_line[members])
    area_m2 = float(systems.nowhere_m2[system].sum())
    off_m = shapely.distance(shapely.points(xy), line)
    at_m = shapely.line_locate_point(line, shapely.points(xy))
    fall = _fall(county, end, at_m)
    if fall.toward_start:
        line = line.reverse()
    names = Case(county).name_of_line(members[[0, -1]])
    by_inverts = all(row.by_inverts for row in rows)
    reasons = (
        f"the {'lower' if by_inverts else 'open'} ends of {len(members)} laterals from {names[0]} to {names[1]} stand "
        f"in a row, half of them within {units.show_length(float(np.median(off_m)))} of it",
        "none of them reaches an outlet and no pipe is drawn along them",
        fall.words if fall.known else "which way it flows is not known: " + fall.words,
    )
    sure = len(members) >= 5 and np.median(off_m) <= 0.5 * _OFF_LINE * rows[0].spacing_m
    confidence = LIKELY if sure and by_inverts and fall.known else POSSIBLE if sure or by_inverts else GUESS
    return Probable(
        kind=MAIN, geometry=line, confidence=confidence, reasons=reasons, area_m2=area_m2,
        beside=tuple(members.tolist()), role="main", flow_known=fall.known, systems=frozenset(system.tolist()),
    )


class _Fall:
    """Whether the inverts of ends along a line fall one way beyond their errors."""

    def __init__(self, known: bool, toward_start: bool, words: str) -> None:
        self.known, self.toward_start, self.words = known, toward_start, words


def _fall(county: County, end: np.ndarray, at_m: np.ndarray) -> _Fall:
    """Weighted straight line through the inverts of the ends."""
    net = county.network
    line = end // 2
    place = np.where(end % 2, net.lines.length_m[line], 0.0)
    z_m, sigma_m = net.levels.level_at(line, place), net.levels.sigma_at(line, place)
    known = np.isfinite(z_m)
    if known.sum() < 2 or np.ptp(at_m[known]) <= 0.0:
        return _Fall(False, False, "fewer than two of the ends have an invert")
    at_m, z_m, weight = at_m[known], z_m[known], 1.0 / np.maximum(sigma_m[known], 1e-4) ** 2
    centre = np.average(at_m, weights=weight)
    spread = float((weight * (at_m - centre) ** 2).sum())
    slope = float((weight * (at_m - centre) * (z_m - np.average(z_m, weights=weight))).sum() / spread)
    sure = float(ndtr(abs(slope) * np.sqrt(spread)))
    if sure < county.limits["p_reverse"]:
        return _Fall(False, slope > 0, "the inverts of the ends do not tell")
    return _Fall(True, slope > 0, f"the inverts of the ends fall {100 * abs(slope):.3f} % along it: so it flows")
