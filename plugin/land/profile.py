"""How far a pipe's own land reaches to the left and right, as stations along every pipe.

Between two stations both widths change evenly. For straight segments this is exact: wherever another
pipe starts, ends, bends or crosses there is a station, and where two rules meet in between a station is
put at their intersection.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import shapely

from ..network.lines import Lines
from .contest import LEFT, RIGHT, Rivals, Segments, dot, find_rivals, half_widths, strips_by_place

INSIDE_M = 1e-5  # widths are taken this far inside a cell, so that a step at its end belongs to the next
CLOSE_M = 1e-3  # stations closer than this are one
EVEN_M = 0.05  # widths off a straight change by less than this are taken as straight
SMALLEST_CELL_M = 0.2
SAME_M = 1e-6  # widths that differ by less are one
ROUNDS = 16
AT_ONCE = 16_000  # segments whose rivals fit into a processor's cache
MOST_THREADS = 8


@dataclass
class _Cells:
    """Pieces of segments, `begin_m` to `end_m`; widths and their slopes as (side, cells)."""

    segment: np.ndarray
    begin_m: np.ndarray
    end_m: np.ndarray
    begin_width: np.ndarray
    end_width: np.ndarray
    begin_slope: np.ndarray
    end_slope: np.ndarray

    @classmethod
    def measured(
        cls, segments: Segments, rivals: Rivals, segment: np.ndarray, begin_m: np.ndarray, end_m: np.ndarray
    ) -> _Cells:
        inside = np.minimum(INSIDE_M, (end_m - begin_m) / 4)
        places_m = (begin_m + inside, end_m - inside)
        sides = [half_widths(segments, rivals, segment, places_m, side) for side in (LEFT, RIGHT)]
        tables = []
        for both_sides, back in zip(zip(*sides), (-inside, inside)):
            width, slope = (np.stack(pair) for pair in zip(*both_sides))
            tables += [np.maximum(width + slope * back, 0.0), slope]
        return cls(segment, begin_m, end_m, tables[0], tables[2], tables[1], tables[3])

    @property
    def places(self) -> tuple[np.ndarray, ...]:
        return self.segment, self.begin_m, self.end_m, self.begin_width, self.end_width

    def uneven(self) -> tuple[np.ndarray, np.ndarray]:
        """Cells in which a width does not change evenly, and where to cut them."""
        long = self.end_m - self.begin_m
        from_begin = self.begin_width + self.begin_slope * long
        from_end = self.end_width - self.end_slope * long
        off = (np.abs(from_begin - self.end_width) > EVEN_M) | (np.abs(from_end - self.begin_width) > EVEN_M)
        cells = np.flatnonzero((off[LEFT] | off[RIGHT]) & (long > SMALLEST_CELL_M))
        side, long = np.where(off[LEFT, cells], LEFT, RIGHT), long[cells]
        turn = (self.begin_slope - self.end_slope)[side, cells]
        with np.errstate(divide="ignore", invalid="ignore"):
            cut = (from_end - self.begin_width)[side, cells] / turn
        meets = (cut > CLOSE_M) & (cut < long - CLOSE_M)  # nan: not
        return cells, self.begin_m[cells] + np.where(meets, cut, long / 2)


Stations = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]  # line, at_m, left_m, right_m


def widths(lines: Lines, spacing_m: np.ndarray) -> Stations:
    """Stations along each serving line in turn; two at one place are a step. Part by part, on all cores."""
    segments = Segments.of(lines, spacing_m)
    strips = strips_by_place(segments)
    with ThreadPoolExecutor(min(os.cpu_count() or 1, MOST_THREADS)) as pool:
        parts = list(pool.map(lambda some: _widths_of(segments, strips, some), _whole_lines(segments)))
    line, at_m, left_m, right_m = (np.concatenate(columns) for columns in zip(*parts))
    return line, at_m, left_m, right_m


def _whole_lines(segments: Segments) -> list[range]:
    """All segments in parts of whole lines."""
    wanted = np.arange(AT_ONCE, len(segments), AT_ONCE)
    edges = np.unique([0, *np.searchsorted(segments.line, segments.line[wanted]).tolist(), len(segments)]).tolist()
    return [range(first, stop) for first, stop in zip(edges, edges[1:])] or [range(0)]


def _widths_of(segments: Segments, strips: shapely.STRtree, some: range) -> Stations:
    rivals = find_rivals(segments, strips, some)
    cells = _Cells.measured(segments, rivals, *_first_cells(segments, rivals, some))
    done = []
    for _ in range(ROUNDS):
        uneven, cut_m = cells.uneven()
        if not len(uneven):
            break
        even = np.ones(len(cells.segment), dtype=bool)
        even[uneven] = False
        done.append([column[..., even] for column in cells.places])
        cells = _Cells.measured(
            segments, rivals, np.tile(cells.segment[uneven], 2),
            np.concatenate([cells.begin_m[uneven], cut_m]), np.concatenate([cut_m, cells.end_m[uneven]]),
        )
    done.append(cells.places)
    return _stations(segments, some, *(np.concatenate(columns, axis=-1) for columns in zip(*done)))


def _first_cells(segments: Segments, rivals: Rivals, some: range) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """`some` segments cut where an end of a rival segment lies abeam and where a rival crosses.

    Abeam is where the line square to the rival through its end meets the line of equal distance from both.
    """
    one = rivals.segment
    length = segments.length_m[rivals.other]
    cosine, sine = rivals.foot_by_s, -rivals.away_by_s  # of the other, seen from the segment
    offset = segments.start[rivals.other] - segments.start[one]
    foot_start, off_start = dot(offset, segments.along[one]), dot(offset, segments.normal[one])
    foot_end, off_end = foot_start + length * cosine, off_start + length * sine
    toward = np.where(cosine < 0, -sine, sine) / (1.0 + np.abs(cosine))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = off_start / (off_start - off_end)
        crossing = np.where((share > 0) & (share < 1), foot_start + share * length * cosine, np.nan)
    last = segments.ends_line[rivals.other]  # else the next segment's start
    cut_m = np.concatenate([foot_start + toward * off_start, (foot_end + toward * off_end)[last], crossing])
    segment = np.concatenate([one, one[last], one])
    inside = (cut_m > CLOSE_M) & (cut_m < segments.length_m[segment] - CLOSE_M)
    running = _running(segments, some)
    cuts = np.sort(running[segment[inside] - some.start] + cut_m[inside])
    if len(cuts):
        cuts = cuts[np.concatenate([[True], np.diff(cuts) > CLOSE_M])]
    edges = np.sort(np.concatenate([running, cuts]))
    owner = np.searchsorted(running, edges, side="right") - 1
    begin = edges - running[owner]
    end = np.append(begin[1:], 0.0)
    last = np.append(owner[1:] != owner[:-1], True)[: len(owner)]
    owner += some.start
    return owner, begin, np.where(last, segments.length_m[owner], end)


def _running(segments: Segments, some: range) -> np.ndarray:
    """Where each of `some` segments begins in one distance over all of them: one sort puts every cut in its place."""
    length_m = segments.length_m[some.start : some.stop]
    return np.cumsum(length_m) - length_m


def _stations(
    segments: Segments, some: range, segment: np.ndarray, begin_m: np.ndarray, end_m: np.ndarray,
    begin_width: np.ndarray, end_width: np.ndarray,
) -> Stations:
    """Both ends of every cell in order, without the second of two equal stations."""
    order = np.argsort(_running(segments, some)[segment - some.start] + begin_m)
    segment = segment[order]
    line = np.repeat(segments.line[segment], 2)
    begins, ends = (begin_m, *begin_width), (end_m, *end_width)
    at_m, left_m, right_m = (np.stack([b[order], e[order]], axis=1).ravel() for b, e in zip(begins, ends))
    at_m += np.repeat(segments.from_m[segment], 2)
    new = (np.diff(line) > 0) | (np.diff(at_m) > 0)
    new |= (np.abs(np.diff(left_m)) > SAME_M) | (np.abs(np.diff(right_m)) > SAME_M)
    keep = np.concatenate([np.ones(min(len(line), 1), dtype=bool), new])
    return line[keep], at_m[keep], left_m[keep], right_m[keep]
