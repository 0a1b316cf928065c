"""Marks on a long section and their names above it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .axes import Frame
from .profile_data import CROSSING, FIXED, JOINT, SILL, SIZE_STEP, STRUCTURE, TIE_IN, WATER, Mark, Profile
from .svg import INK, Drawing, boxes_overlap, text_width

ROW = 18
SIZE = 13
LEADER = "#a0a0a0"
_LONGEST_NAME = 20
_FIRST_NAMED = (FIXED, SILL, SIZE_STEP, STRUCTURE, WATER, TIE_IN, CROSSING, JOINT)


@dataclass(frozen=True)
class Name:
    """A name over the plot at `x`, in a row counted upward from the plot, or upright."""

    x: float
    text: str
    row: int = 0


@dataclass(frozen=True)
class Names:
    """All names that found room, the height they need, and how many did not."""

    shown: tuple[Name, ...]
    upright: bool
    height: float
    left_out: int


def place_names(profile: Profile, frame: Frame, width: float) -> Names:
    """Names in up to three rows; upright where that many do not fit. Places of one station share a name."""
    wanted = _wanted(profile, frame)
    level = _level_rows(wanted, width)
    if len(level) == len(wanted):
        rows = 1 + max((name.row for name in level), default=-1)
        return Names(tuple(level), False, rows * ROW, 0)
    upright: list[Name] = []
    for name in wanted:
        if all(abs(name.x - other.x) >= SIZE + 1 for other in upright):
            upright.append(name)
    height = max(text_width(name.text, SIZE) for name in upright)
    return Names(tuple(upright), True, height, len(wanted) - len(upright))


def _wanted(profile: Profile, frame: Frame) -> list[Name]:
    """Names in the order they may claim room: what is built and fixed before joints."""
    wanted: list[Name] = []
    for kind in _FIRST_NAMED:
        named: dict[float, list[str]] = {}
        for mark in profile.marks:
            if mark.kind == kind and mark.name and frame.x_from_m <= mark.at_m <= frame.x_to_m:
                named.setdefault(round(frame.x(mark.at_m), 1), []).append(mark.name)
        wanted += [Name(x, _shortened(", ".join(names))) for x, names in named.items()]
    return wanted


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_NAME else text[: _LONGEST_NAME - 1] + "\u2026"


def _level_rows(wanted: list[Name], width: float) -> list[Name]:
    taken: list[tuple[float, float, float, float]] = []
    placed = []
    for name in wanted:
        half = text_width(name.text, SIZE) / 2 + 3
        middle = min(max(name.x, half), width - half)  # names at the edges move inward
        for row in range(3):
            box = (middle - half, row, middle + half, row + 0.9)
            stem = (name.x - 2, 0, name.x + 2, row)  # the line down to the plot must not cross other names
            if not boxes_overlap(box, taken) and not boxes_overlap(stem, taken):
                taken += [box, stem]
                placed.append(Name(middle, name.text, row))
                break
    return placed


def draw_names(drawing: Drawing, frame: Frame, names: Names) -> None:
    for name in names.shown:
        if names.upright:
            place = f"translate({name.x + SIZE / 3:.1f} {frame.top - 5:.1f}) rotate(-90)"
            drawing.text(0, 0, name.text, SIZE, transform=place)
        else:
            drawing.text(name.x, frame.top - 6 - ROW * name.row, name.text, SIZE, "middle")


def draw_marks(drawing: Drawing, frame: Frame, profile: Profile) -> None:
    """A tick at the top, a line down to the mark, and its symbol; joints last claimed a name and are drawn first."""
    for kind in reversed(_FIRST_NAMED):
        for mark in (mark for mark in profile.marks if mark.kind == kind):
            x, y = frame.x(mark.at_m), frame.y(_height_m(profile, mark))
            drawing.line(x, frame.top, x, frame.top + 7, stroke_width=1.5)
            _draw_limits(drawing, frame, mark)
            if not np.isnan(y):
                drawing.line(x, frame.top, x, y, stroke=LEADER, stroke_width=1, stroke_dasharray="1 3")
                draw_symbol(drawing, kind, x, y)


def _height_m(profile: Profile, mark: Mark) -> float:
    """The mark's own invert, else that of the pipe there; NaN beside a stretch where it is unknown."""
    if not np.isnan(mark.invert_m) or not len(profile.station_m):
        return mark.invert_m
    return float(np.interp(mark.at_m, profile.station_m, profile.invert_m))


def draw_symbol(drawing: Drawing, kind: str, x: float, y: float) -> None:
    style = {"stroke": INK, "stroke_width": 1.5, "fill": "#ffffff"}
    if kind == JOINT:
        drawing.circle(x, y, 3.5, **style)
    elif kind == STRUCTURE:
        drawing.rect(x - 5, y - 5, 10, 10, **style)
    elif kind == SIZE_STEP:
        step = np.array([[x - 7, y + 5], [x, y + 5], [x, y - 5], [x + 7, y - 5]])
        drawing.lines([step], stroke=INK, stroke_width=2.5)
    elif kind == SILL:
        drawing.areas([np.array([[x - 7, y + 6], [x - 3, y - 5], [x + 3, y - 5], [x + 7, y + 6]])], **style)
    elif kind == WATER:
        for row, half in enumerate((8, 5, 2)):
            drawing.line(x - half, y + 3 * row, x + half, y + 3 * row, stroke_width=1.8)
    elif kind == CROSSING:
        drawing.areas([np.array([[x, y - 7], [x + 6, y], [x, y + 7], [x - 6, y]])], **style)
    else:
        style["fill"] = INK if kind == FIXED else "#ffffff"
        drawing.areas([np.array([[x - 6, y + 5], [x + 6, y + 5], [x, y - 7]])], **style)


def _draw_limits(drawing: Drawing, frame: Frame, mark: Mark) -> None:
    """Bars with teeth on the side that is not allowed: below the least, above the greatest invert."""
    for height, side in ((mark.least_m, 7), (mark.greatest_m, -7)):
        if not np.isnan(height):
            x, y = frame.x(mark.at_m), frame.y(height)
            drawing.line(x - 14, y, x + 14, y, stroke_width=2.5)
            for tooth in (-11, -4, 4, 11):
                drawing.line(x + tooth, y, x + tooth - 3, y + side, stroke_width=1.2)
