"""Where lines meet, nearly meet, and cross without meeting.

Closer than `exact_m`: a joint that is made. A gap or an overshoot within the tolerance: proposed, and
applied only when somebody accepts. Geometry is never moved: a joint is a pair of places.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .lines import Lines
from .near import NearPairs
from .nearest import nearest_places
from .parallel import by_pairs
from .segments import crossing_places, segment_pairs

_TIE_M = 0.001  # distances closer than this count as equal: then an end goes before a place inside a line
_STUB_REACH = 5.0  # an overshoot may be this many tolerances long where a line meets another at a flat angle


@dataclass(frozen=True)
class Joints:
    """Ends of lines on places of other lines.

    `end` is 2 x line for the first vertex and 2 x line + 1 for the last; `other`, `at_m`: the place met;
    `at_end`: whether that place is an end of the other line; `gap_m`: distance from the end to the place;
    `own_at_m`: where on its own line the end counts as joined, short of the end where it overshoots.
    """

    end: np.ndarray
    other: np.ndarray
    at_m: np.ndarray
    at_end: np.ndarray
    gap_m: np.ndarray
    own_at_m: np.ndarray

    def __len__(self) -> int:
        return len(self.end)

    @property
    def line(self) -> np.ndarray:
        return self.end // 2

    def where(self, keep: np.ndarray) -> Joints:
        return Joints(self.end[keep], self.other[keep], self.at_m[keep], self.at_end[keep], self.gap_m[keep],
                      self.own_at_m[keep])


@dataclass(frozen=True)
class Crossings:
    """Two lines that cross or touch at `xy` without either ending there."""

    line: np.ndarray
    other: np.ndarray
    at_m: np.ndarray
    other_at_m: np.ndarray
    xy: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    def where(self, keep: np.ndarray) -> Crossings:
        return Crossings(self.line[keep], self.other[keep], self.at_m[keep], self.other_at_m[keep], self.xy[keep])


def end_xy(lines: Lines) -> np.ndarray:
    """Coordinates of all ends, first and last vertex of line 0, of line 1, ..."""
    both = np.column_stack([lines.first[:-1], lines.first[1:] - 1]).ravel()
    return lines.xy[both]


def end_at_m(lines: Lines) -> np.ndarray:
    """Distance along its line of every end."""
    return np.column_stack([np.zeros(len(lines)), lines.length_m]).ravel()


def meeting_ends(lines: Lines, pairs: NearPairs, reach_m: float) -> Joints:
    """Every end of a line with every other line within `reach_m` of it.

    A place closer than `reach_m` to an end of the other line is not moved to that end; only a place at the very
    end is `at_end`.
    """
    xy = end_xy(lines)
    end = np.concatenate([2 * pairs.line, 2 * pairs.line + 1])
    other = np.tile(pairs.other, 2)
    # a line's box is its nearest possible extent: most ends lie too far from it to be measured
    box = shapely.bounds(lines.geometry)[other].T if len(other) else np.zeros((4, 0))
    x, y = xy[end].T
    beside = (x >= box[0] - reach_m) & (x <= box[2] + reach_m) & (y >= box[1] - reach_m) & (y <= box[3] + reach_m)
    end, other = end[beside], other[beside]
    at, gap = nearest_places(lines, other, xy[end])
    near = gap <= reach_m
    end, other, at, gap = end[near], other[near], at[near], gap[near]
    at_end = (at <= 0.0) | (at >= lines.length_m[other])
    return Joints(end, other, at, at_end, gap, end_at_m(lines)[end])


def snap_to_ends(joints: Joints, lines: Lines, exact_m: float) -> Joints:
    """Count a place within `exact_m` of an end of its line as that end."""
    length = lines.length_m[joints.other]
    low, high = joints.at_m <= exact_m, length - joints.at_m <= exact_m
    at = np.where(low, 0.0, np.where(high, length, joints.at_m))
    return Joints(joints.end, joints.other, at, joints.at_end | low | high, joints.gap_m, joints.own_at_m)


def nearest_proposals(candidates: Joints) -> Joints:
    """The one joint each end proposes: to the nearest pipe, an end before a place inside a line on a tie."""
    order = np.lexsort((candidates.other, ~candidates.at_end, np.round(candidates.gap_m / _TIE_M), candidates.end))
    sorted_ = candidates.where(order)
    first = np.ones(len(sorted_), dtype=bool)
    first[1:] = sorted_.end[1:] != sorted_.end[:-1]
    return sorted_.where(first)


def one_for_each_meeting(proposals: Joints, lines: Lines, tolerance_m: float) -> Joints:
    """Where two lines propose to each other at the same meeting, the joint with the smaller gap stays."""
    low, high = np.minimum(proposals.line, proposals.other), np.maximum(proposals.line, proposals.other)
    order = np.lexsort((proposals.end, proposals.gap_m, low * len(lines) + high))
    pair, end = (low * len(lines) + high)[order], proposals.end[order]
    xy = end_xy(lines)[end]
    stays = np.ones(len(order), dtype=bool)
    for back in (1, 2, 3):  # two lines have four ends, so a pair has at most four proposals
        same = pair[back:] == pair[:-back]
        near = np.hypot(*(xy[back:] - xy[:-back]).T) <= 2.0 * tolerance_m
        opposite = end[back:] // 2 != end[:-back] // 2
        stays[back:] &= ~(same & near & opposite & stays[:-back])
    return proposals.where(np.sort(order[stays]))


def trim_overshoots(proposals: Joints, lines: Lines, tolerance_m: float) -> Joints:
    """Where a line runs on over the line it meets, count it as joined where the two cross."""
    inside = np.flatnonzero(~proposals.at_end)
    own, other, reach_m = proposals.line[inside], proposals.other[inside], _STUB_REACH * tolerance_m
    end_m, met_m = end_at_m(lines)[proposals.end[inside]], proposals.at_m[inside]
    row, segment, other_segment = segment_pairs(
        lines, own, end_m - reach_m, end_m + reach_m, other, met_m - 2.0 * reach_m, met_m + 2.0 * reach_m
    )
    meets, xy = crossing_places(lines, segment, other_segment)
    pair = row[meets]
    from_end = np.hypot(*(xy - end_xy(lines)[proposals.end[inside[pair]]]).T)
    order = np.lexsort((from_end, pair))
    first = np.ones(len(order), dtype=bool)
    first[1:] = pair[order][1:] != pair[order][:-1]
    best = order[first]
    best = best[from_end[best] <= reach_m]
    rows = inside[pair[best]]
    own_at, at = proposals.own_at_m.copy(), proposals.at_m.copy()
    own_at[rows], _ = nearest_places(lines, proposals.line[rows], xy[best])
    at[rows], _ = nearest_places(lines, proposals.other[rows], xy[best])
    return Joints(proposals.end, proposals.other, at, proposals.at_end, proposals.gap_m, own_at)


def find_crossings(lines: Lines, pairs: NearPairs, joints: Joints, tolerance_m: float) -> Crossings:
    """Places where two lines cross or touch and no end with a joint between the two lies near."""
    once = pairs.once()
    meet = by_pairs(shapely.intersects, lines.geometry[once.line], lines.geometry[once.other])
    line, other = once.line[meet], once.other[meet]
    open_ = ~_meet_at_joint_only(lines, line, other, joints, tolerance_m)  # most meet at a joint and nowhere else
    line, other = line[open_], other[open_]
    meeting = shapely.intersection(lines.geometry[line], lines.geometry[other])
    xy, pair = shapely.get_coordinates(meeting, return_index=True)
    line, other = line[pair], other[pair]
    free = ~_near_joint(lines, line, other, xy, joints, tolerance_m)
    line, other, xy, pair = line[free], other[free], xy[free], pair[free]
    overlap = np.zeros(len(pair), dtype=bool)  # of lines that run on each other a while, the first place stands for all
    overlap[1:] = (pair[1:] == pair[:-1]) & (np.hypot(*(xy[1:] - xy[:-1]).T) <= tolerance_m)
    line, other, xy = line[~overlap], other[~overlap], xy[~overlap]
    return Crossings(line, other, nearest_places(lines, line, xy)[0], nearest_places(lines, other, xy)[0], xy)


def _meet_at_joint_only(
    lines: Lines, line: np.ndarray, other: np.ndarray, joints: Joints, tolerance_m: float
) -> np.ndarray:
    """Whether two lines with a joint between them meet nowhere but near it."""
    count = len(lines)
    key = np.minimum(joints.line, joints.other) * count + np.maximum(joints.line, joints.other)
    key, first = np.unique(key, return_index=True)
    wanted = np.minimum(line, other) * count + np.maximum(line, other)
    found = np.minimum(np.searchsorted(key, wanted), max(len(key) - 1, 0))
    joined = np.flatnonzero(key[found] == wanted) if len(key) else found[:0]
    row = first[found[joined]]
    own, stub = joints.line[row], _stub_m(lines, joints)[row] + tolerance_m
    at_last = joints.end[row] % 2 == 1
    from_m = np.where(at_last, 0.0, stub)
    to_m = lines.length_m[own] - np.where(at_last, stub, 0.0)
    only = np.zeros(len(line), dtype=bool)
    only[joined] = True
    rest = np.flatnonzero(to_m > from_m)
    beyond = lines.cut(own[rest], from_m[rest], to_m[rest])
    only[joined[rest]] = ~by_pairs(shapely.intersects, beyond, lines.geometry[joints.other[row[rest]]])
    return only


def _stub_m(lines: Lines, joints: Joints) -> np.ndarray:
    """Length of line beyond each joint, where the line overshoots."""
    return np.abs(end_at_m(lines)[joints.end] - joints.own_at_m)


def _near_joint(
    lines: Lines, line: np.ndarray, other: np.ndarray, xy: np.ndarray, joints: Joints, tolerance_m: float
) -> np.ndarray:
    """Whether a place where two lines meet belongs to a joint between an end of one and the other."""
    pairs = joints.end * len(lines) + joints.other
    order = np.argsort(pairs, kind="stable")
    pairs = pairs[order]
    # a flat overshoot leaves a stub longer than the tolerance: its length is the reach of that joint
    stub = _stub_m(lines, joints)[order] + tolerance_m
    corners = end_xy(lines)
    near = np.zeros(len(line), dtype=bool)
    for own, against in ((line, other), (other, line)):
        for k in (0, 1):
            end = 2 * own + k
            wanted = end * len(lines) + against
            found = np.searchsorted(pairs, wanted)
            known = found < len(pairs)
            found = np.minimum(found, max(len(pairs) - 1, 0))
            if len(pairs):
                known &= pairs[found] == wanted
                near |= known & (np.hypot(*(xy - corners[end]).T) <= stub[found] + 1e-6)
    return near
