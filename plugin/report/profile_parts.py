"""The parts of a long section, each drawn into a `Drawing` by the `Frame` that maps stations and elevations."""

from __future__ import annotations

import numpy as np

from .axes import Frame, decimals, show_exaggeration, station_label, ticks
from .calls import FALLS, UNKNOWN, style_of
from .markup import plural
from .profile_data import CallStretch, Profile
from .profile_legend import BAND, COVER, CROWN, GROUND, STANDING
from .profile_marks import Names
from .svg import INK, Drawing, boxes_overlap, text_width

STRIP = 22
_CLEAR_PX = 7
GRID = "#d9d9d9"
TREES = "#cfe3c4"


def strips_bottom(frame: Frame, profile: Profile) -> float:
    """Lower edge of the strips under the plot: calls, and trees where there are any."""
    return frame.bottom + STRIP * (2 if profile.trees else 1)


def draw_heading(drawing: Drawing, frame: Frame, profile: Profile, names: Names) -> None:
    drawing.text(frame.left, 26, profile.title, 18, font_weight="bold")
    said = [f"Vertical exaggeration {show_exaggeration(frame)} x"]
    if not profile.has_heights:
        said = ["No elevation is known: there is nothing to draw"]
    elif not np.isfinite(profile.crown_m).any():
        said.append("pipe size unknown: its top is not drawn")
    if names.left_out:
        said.append(f"{plural(names.left_out, 'name')} left out for want of room")
    drawing.text(frame.left, 47, "; ".join(said), 14)


def draw_axes(drawing: Drawing, frame: Frame, profile: Profile) -> None:
    units, below = profile.units, strips_bottom(frame, profile)
    if profile.has_heights:
        _draw_heights(drawing, frame, profile)
    stations, step = ticks(frame.x_from_m, frame.x_to_m, units.length_m, 9)
    for value in stations:
        x = frame.x(value * units.length_m)
        drawing.line(x, frame.top, x, frame.bottom, stroke=GRID)
        drawing.line(x, below, x, below + 5)
        drawing.text(x, below + 19, station_label(value, step, units), 13, "middle")
    drawing.rect(frame.left, frame.top, frame.right - frame.left, frame.bottom - frame.top, stroke=INK)
    hint = " (8+50 is 850 ft)" if units.is_us else ""
    title = f"{profile.station_words}, {units.length_name}{hint}"
    drawing.text(frame.right, below + 40, title, 14, "end")
    if profile.flows_to_low_station is not None:
        _draw_flow(drawing, frame.left, below + 35, profile.flows_to_low_station)


def _draw_heights(drawing: Drawing, frame: Frame, profile: Profile) -> None:
    units = profile.units
    heights, step = ticks(frame.y_from_m, frame.y_to_m, units.length_m, 7)
    for value in heights:
        y = frame.y(value * units.length_m)
        drawing.line(frame.left, y, frame.right, y, stroke=GRID)
        if frame.bottom - y > _CLEAR_PX:  # else it would touch the word beside the strip
            drawing.text(frame.left - 7, y + 5, f"{value:,.{decimals(step)}f}", 13, "end")
    title = f"Elevation, {units.length_name} ({profile.vertical_datum or 'vertical datum unknown'})"
    place = f"translate(20 {(frame.top + frame.bottom) / 2:.0f}) rotate(-90)"
    drawing.text(0, 0, title, 14, "middle", transform=place)


def _draw_flow(drawing: Drawing, x: float, y: float, leftward: bool) -> None:
    tip, tail = (x, x + 44) if leftward else (x + 44, x)
    back = tip + 9 if leftward else tip - 9
    drawing.line(tail, y, tip, y, stroke_width=2)
    drawing.areas([np.array([[tip, y], [back, y - 5], [back, y + 5]])], fill=INK)
    drawing.text(x + 52, y + 5, "water should flow this way", 13)


def draw_unknown(drawing: Drawing, frame: Frame, runs: list[CallStretch]) -> None:
    """Where the pipe is unknown the plot is hatched from top to bottom, so that no line seems to pass."""
    style = style_of(UNKNOWN)
    for run in runs:
        if run.call == UNKNOWN:
            x, width = frame.x(run.from_m), frame.x(run.to_m) - frame.x(run.from_m)
            drawing.hatch(x, frame.top, width, frame.bottom - frame.top, style.hatch, "#b5b5b5", 14)


def draw_lines(drawing: Drawing, frame: Frame, profile: Profile) -> None:
    """Likely range of the invert, its top, least cover, ground, and water that stands in it."""
    station, invert = profile.station_m, profile.invert_m
    for run in _known_runs(profile.band_m + invert):
        upper = _points(frame, station[run], (invert + profile.band_m)[run])
        lower = _points(frame, station[run], (invert - profile.band_m)[run])
        drawing.areas([np.vstack([upper, lower[::-1]])], **BAND)
    drawn = ((profile.crown_m, CROWN), (profile.cover_line_m, COVER), (profile.ground_m, GROUND),
             (profile.water_m, STANDING))
    for height, style in drawn:
        drawing.lines([_points(frame, station[run], height[run]) for run in _known_runs(height)], **style)
    for run in _known_runs(profile.ground_m)[:1]:
        x, y = _points(frame, station[run], profile.ground_m[run])[0]
        drawing.text(x + 8, y - 12, "ground", 13, fill=GROUND["stroke"], font_weight="bold")


def draw_pipe(drawing: Drawing, frame: Frame, profile: Profile, runs: list[CallStretch]) -> None:
    """The invert, each call in its own dash; nothing is drawn where it is unknown."""
    station = profile.station_m
    for run in runs:
        if run.call != UNKNOWN:
            inner = (station > run.from_m) & (station < run.to_m)
            ends = np.interp([run.from_m, run.to_m], station, profile.invert_m)
            along = np.concatenate([[run.from_m], station[inner], [run.to_m]])
            heights = np.concatenate([ends[:1], profile.invert_m[inner], ends[1:]])  # a drop has two at one station
            points = _points(frame, along, heights)
            style = style_of(run.call)
            dash = style.dash or None
            drawing.lines([points], stroke=style.colour, stroke_width=style.width, stroke_dasharray=dash)


def draw_strips(drawing: Drawing, frame: Frame, profile: Profile, runs: list[CallStretch]) -> None:
    """Strips below the plot: the calls with their words, and the stretch within reach of roots."""
    top = frame.bottom
    drawing.text(frame.left - 7, top + 16, "Fall", 13, "end")
    narrow = []
    for run in runs:
        style = style_of(run.call)
        x, width = frame.x(run.from_m), frame.x(run.to_m) - frame.x(run.from_m)
        drawing.rect(x, top, width, STRIP, fill=style.fill, stroke=style.colour)
        drawing.hatch(x, top, width, STRIP, style.hatch, style.colour)
        if text_width(style.words, 13) + 6 < width:
            _boxed(drawing, x + width / 2, top + 16, style.words, style.colour)
        elif run.call != FALLS:
            narrow.append((x + width / 2, style))
    _draw_flags(drawing, frame, narrow)
    _draw_trees(drawing, frame, profile)


def _draw_flags(drawing: Drawing, frame: Frame, narrow: list) -> None:
    """Words of stretches too narrow for them, above the strip; worse calls come first where room is short."""
    taken: list[tuple[float, float, float, float]] = []
    order = ["reverse", "unknown", "cannot tell"]
    for x, style in sorted(narrow, key=lambda one: order.index(one[1].words) if one[1].words in order else 9):
        half = text_width(style.words, 13) / 2 + 3
        middle = min(max(x, frame.left + half), frame.right - half)
        box = (middle - half, 0, middle + half, 1)
        if not boxes_overlap(box, taken):
            taken.append(box)
            drawing.line(x, frame.bottom - 8, x, frame.bottom, stroke=style.colour, stroke_width=2)
            _boxed(drawing, middle, frame.bottom - 10, style.words, style.colour)


def _draw_trees(drawing: Drawing, frame: Frame, profile: Profile) -> None:
    if not profile.trees:
        return
    top = frame.bottom + STRIP
    drawing.text(frame.left - 7, top + 16, "Roots", 13, "end")
    drawing.rect(frame.left, top, frame.right - frame.left, STRIP, stroke=INK)
    for stretch in profile.trees:
        x = frame.x(max(stretch.from_m, frame.x_from_m))
        width = frame.x(min(stretch.to_m, frame.x_to_m)) - x
        if width <= 0:
            continue
        drawing.rect(x, top, width, STRIP, fill=TREES, stroke=COVER["stroke"])
        needed = text_width(stretch.words, 13)
        if needed < width:
            drawing.text(x + width / 2, top + 16, stretch.words, 13, "middle")
        elif x + width + needed + 6 < frame.right:
            drawing.text(x + width + 6, top + 16, stretch.words, 13)
        else:
            drawing.text(x - 6, top + 16, stretch.words, 13, "end")


def _boxed(drawing: Drawing, x: float, baseline: float, words: str, colour: str) -> None:
    width = text_width(words, 13) + 2
    drawing.rect(x - width / 2, baseline - 13, width, 16, fill="#ffffff")
    drawing.text(x, baseline, words, 13, "middle", fill=colour, font_weight="bold")


def _known_runs(heights: np.ndarray) -> list[slice]:
    """Slices of at least two neighbouring known heights."""
    known = np.concatenate([[False], np.isfinite(heights), [False]])
    starts, stops = np.flatnonzero(known[1:] & ~known[:-1]), np.flatnonzero(known[:-1] & ~known[1:])
    return [slice(a, b) for a, b in zip(starts, stops) if b - a > 1]


def _points(frame: Frame, station_m: np.ndarray, height_m: np.ndarray) -> np.ndarray:
    return np.column_stack([frame.x(station_m), frame.y(height_m)])
