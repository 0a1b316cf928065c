"""Where the strips of two pipes overlap, and how far from each pipe its own land reaches there.

All in closed form on straight segments. From a point p of a pipe look square to one side, to p + t n. The
point is contested by another segment where its foot lies on that segment and its distance |f| is at
most the other's half spacing; it is lost to the other where also |f| < t. Each condition is linear in t, so
the first lost t is the largest of a few quotients.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
import shapely

from ..network.lines import Lines
from ..network.parts import in_parts
from .spacing import direction_of, line_of_vertices, segments_of

LEFT, RIGHT = 0, 1
SIDES = np.array([1.0, -1.0])  # factor of the left-hand normal
TOUCH_M = 1e-6  # strips that overlap by less only touch
SAME_LINE = 1.0 - 1e-9  # cosine from which two segments count as one line where they also coincide


@dataclass(frozen=True)
class Segments:
    """Straight pieces of serving pipes: start, unit vector, left normal, length, line, half the spacing.

    At a bend the strip of a segment is drawn out to the mitre, `before_m` and `after_m` past its ends,
    so that no wedge of land is left out on the outside of the bend.
    """

    start: np.ndarray
    along: np.ndarray
    normal: np.ndarray
    length_m: np.ndarray
    line: np.ndarray
    half_m: np.ndarray
    from_m: np.ndarray
    before_m: np.ndarray
    after_m: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    @cached_property
    def ends_line(self) -> np.ndarray:
        """Whether a segment is the last of its line."""
        return np.append(self.line[1:] != self.line[:-1], True)[: len(self)]

    @classmethod
    def of(cls, lines: Lines, spacing_m: np.ndarray) -> Segments:
        """Segments of all lines with a spacing, in the order of the lines."""
        first = segments_of(lines, ~np.isnan(spacing_m))
        along = direction_of(lines, first)
        line = line_of_vertices(lines)[first]
        half = spacing_m[line] / 2
        bend = np.zeros(len(first) + 1)
        cosine = np.einsum("ij,ij->i", along[1:], along[:-1])
        tangent = np.sqrt(np.maximum(1 - cosine, 0) / np.maximum(1 + cosine, 1e-12))
        bend[1:-1] = np.where(line[1:] == line[:-1], np.minimum(tangent, 1.0), 0.0)
        return cls(
            start=lines.xy[first], along=along, normal=np.stack([-along[:, 1], along[:, 0]], axis=1),
            length_m=lines.along_m[first + 1] - lines.along_m[first], line=line, half_m=half,
            from_m=lines.along_m[first], before_m=bend[:-1] * half, after_m=bend[1:] * half,
        )


@dataclass(frozen=True)
class Rivals:
    """Segments whose strip overlaps one side of a segment, and how they lie from it, for segments from `base` on.

    Those of (segment, side) are rows `first[2 * (segment - base) + side]` up to the next. Seen from a place `s` along
    the segment and `t` square to it on that side: the foot on the other segment is
    `foot_m + s foot_by_s + t foot_by_t` from its start, the signed distance
    `away_m + s away_by_s + t away_by_t`. Its strip is `from_m` to `to_m` long and `half_m` wide to either side.
    """

    base: int
    first: np.ndarray
    segment: np.ndarray
    other: np.ndarray
    foot_m: np.ndarray
    foot_by_s: np.ndarray
    foot_by_t: np.ndarray
    away_m: np.ndarray
    away_by_s: np.ndarray
    away_by_t: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    half_m: np.ndarray

    def rows(self, chosen: np.ndarray) -> Rivals:
        """Rows by number, which may repeat; `first` does not hold for them."""
        columns = (getattr(self, field.name)[chosen] for field in fields(self)[2:])
        return Rivals(self.base, self.first, *columns)

    @classmethod
    def of(cls, segments: Segments, some: range, key: np.ndarray, other: np.ndarray) -> Rivals:
        """Rows of `some` segments for keys (2 * segment + side) in rising order."""
        one, side = key // 2, SIDES[key % 2]
        cosine = dot(segments.along[one], segments.along[other])
        sine = dot(segments.along[one], segments.normal[other])
        offset = segments.start[one] - segments.start[other]
        counts = np.bincount(key - 2 * some.start, minlength=2 * len(some))
        return cls(
            base=some.start, first=np.concatenate([[0], np.cumsum(counts)]), segment=one, other=other,
            foot_m=dot(offset, segments.along[other]), foot_by_s=cosine, foot_by_t=-sine * side,
            away_m=dot(offset, segments.normal[other]), away_by_s=sine, away_by_t=cosine * side,
            from_m=-segments.before_m[other], to_m=(segments.length_m + segments.after_m)[other],
            half_m=segments.half_m[other],
        )


def strips_by_place(segments: Segments) -> shapely.STRtree:
    """The boxes of all strips, each as its diagonal, to ask which are near."""
    end = segments.start + segments.along * segments.length_m[:, None]
    low = np.minimum(segments.start, end) - segments.half_m[:, None]
    high = np.maximum(segments.start, end) + segments.half_m[:, None]
    return shapely.STRtree(in_parts(shapely.linestrings, np.stack([low, high], axis=1)))


def find_rivals(segments: Segments, strips: shapely.STRtree, some: range) -> Rivals:
    """All segments of other lines whose strip overlaps one side of the strip of `some` by more than a touch."""
    one, other = strips.query(strips.geometries[some.start : some.stop])
    one += some.start
    apart = segments.line[one] != segments.line[other]
    one, other = one[apart], other[apart]
    left, right = _half_strips_meet(segments, one, other)
    key = np.concatenate([2 * one[left] + LEFT, 2 * one[right] + RIGHT])
    order = np.argsort(key, kind="stable")
    return Rivals.of(segments, some, key[order], np.concatenate([other[left], other[right]])[order])


def _half_strips_meet(segments: Segments, one: np.ndarray, other: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether the left and the right half of a strip overlap another whole strip (rectangles, by separating axes)."""
    along1, along2, normal2 = segments.along[one], segments.along[other], segments.normal[other]
    cosine, sine = dot(along1, along2), dot(along1, normal2)
    long1, wide1 = segments.length_m[one] / 2, segments.half_m[one] / 2
    long2, wide2 = (segments.length_m + segments.before_m + segments.after_m)[other] / 2, segments.half_m[other]
    middle2 = (segments.length_m + segments.after_m - segments.before_m)[other] / 2
    offset = segments.start[other] - segments.start[one]
    on_along2 = dot(offset, along2) + middle2 - long1 * cosine  # from middle to middle of the whole strips
    on_normal2 = dot(offset, normal2) - long1 * sine
    on_along1 = on_along2 * cosine + on_normal2 * sine
    on_normal1 = on_normal2 * cosine - on_along2 * sine
    cosine_size, sine_size = np.abs(cosine), np.abs(sine)
    near = np.abs(on_along1) < long1 + long2 * cosine_size + wide2 * sine_size - TOUCH_M
    reach_normal1 = wide1 + long2 * sine_size + wide2 * cosine_size - TOUCH_M
    reach_along2 = long2 + long1 * cosine_size + wide1 * sine_size - TOUCH_M
    reach_normal2 = wide2 + long1 * sine_size + wide1 * cosine_size - TOUCH_M
    left, right = (
        near
        & (np.abs(on_normal1 - side * wide1) < reach_normal1)
        & (np.abs(on_along2 + side * wide1 * sine) < reach_along2)
        & (np.abs(on_normal2 - side * wide1 * cosine) < reach_normal2)
        for side in SIDES
    )
    return left, right


def half_widths(
    segments: Segments, rivals: Rivals, segment: np.ndarray, places_m: Sequence[np.ndarray], side: int
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Own land to one side of places along segments, and how it changes per metre along the pipe; for each of
    several places on every segment.

    The land ends at the first point lost to another pipe. Behind a pipe whose own strip is narrower than
    that, nothing is given back.
    """
    key = 2 * (segment - rivals.base) + side
    count = rivals.first[key + 1] - rivals.first[key]
    contested = np.flatnonzero(count)
    count = count[contested]
    begin = np.cumsum(count) - count
    rival = np.repeat(rivals.first[key[contested]] - begin, count)
    rival += np.arange(len(rival))
    near = rivals.rows(rival)
    found = []
    for at_m in places_m:
        width, slope = segments.half_m[segment], np.zeros(len(segment))
        if len(contested):
            lost_m = _first_lost(near, np.repeat(at_m[contested], count))
            nearest = np.minimum.reduceat(lost_m, begin)
            less = nearest < width[contested]
            width[contested[less]] = nearest[less]
            decides = np.flatnonzero(lost_m == np.repeat(np.where(less, nearest, np.nan), count))
            place = np.repeat(contested, count)[decides]
            slope[place] = _change(near.rows(decides), at_m[place], lost_m[decides])
        found.append((width, slope))
    return found


def _first_lost(near: Rivals, at_m: np.ndarray) -> np.ndarray:
    """First t at which the rival takes over; inf where it does not."""
    foot, foot_by_t = near.foot_m + at_m * near.foot_by_s, near.foot_by_t
    away, away_by_t = near.away_m + at_m * near.away_by_s, near.away_by_t
    away_by_t = np.where(away < 0, -away_by_t, away_by_t)
    away = np.abs(away)
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = (near.from_m - foot) / foot_by_t, (near.to_m - foot) / foot_by_t
        lost, until = np.minimum(one, two), np.maximum(one, two)
        one, two = (-near.half_m - away) / away_by_t, (near.half_m - away) / away_by_t
        lost, until = np.maximum(lost, np.minimum(one, two)), np.minimum(until, np.maximum(one, two))
        nearer = away / (1.0 - away_by_t)
        nearer[away_by_t >= 1.0] = np.inf
        same = np.flatnonzero((away < TOUCH_M) & (np.abs(away_by_t) > SAME_LINE))
        first = near.other[same] < near.segment[same]
        nearer[same] = np.where(first, 0.0, np.inf)  # drawn on each other: the first has the land
        lost = np.maximum(lost, nearer)
        lost[~(lost < until)] = np.inf
    return lost


def _change(near: Rivals, at_m: np.ndarray, lost_m: np.ndarray) -> np.ndarray:
    """How `lost_m`, the answer of `_first_lost`, changes per metre along the pipe."""
    away = near.away_m + at_m * near.away_by_s
    foot = near.foot_m + at_m * near.foot_by_s
    sign = np.where(away < 0, -1.0, 1.0)
    away_by_s, away_by_t = sign * near.away_by_s, sign * near.away_by_t
    foot_by_s, foot_by_t = near.foot_by_s, near.foot_by_t
    with np.errstate(divide="ignore", invalid="ignore"):
        by_distance = np.abs(sign * away + lost_m * (away_by_t - 1.0))  # which condition is just met
        ends = np.stack([near.from_m, near.to_m])
        by_foot = np.abs(foot + lost_m * foot_by_t - ends).min(axis=0)
        by_strip = np.abs(sign * away + lost_m * away_by_t - near.half_m)
        rates = np.stack([away_by_s / (1.0 - away_by_t), -foot_by_s / foot_by_t, -away_by_s / away_by_t])
    rate = rates[np.argmin([by_distance, by_foot, by_strip], axis=0), np.arange(len(at_m))]
    return np.where(np.isfinite(rate), rate, 0.0)  # drawn on each other: nothing everywhere


def dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1]
