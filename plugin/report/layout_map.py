"""The map of a comparison: pipe of the archive in grey, lines of the layout by what is proposed for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..units import Units
from .map_parts import (
    MARGIN,
    SIZE,
    Labels,
    Sheet,
    along_run,
    clipped,
    draw_land,
    draw_pipes,
    length_px,
    runs_of,
)
from .svg import INK, Drawing, text_width

_SHEET = Sheet(900.0, 560.0, 64, 1.15, 60.0)
_MOST_NAMES = 60
_SHARES = (0.85, 0.7, 0.3, 0.15, 0.95, 0.05)


@dataclass(frozen=True)
class Stroke:
    """How lines of one kind are drawn, and what the legend calls them."""

    words: str
    colour: str
    width: float
    dash: str


@dataclass(frozen=True)
class LayoutMap:
    """What the map shows; geometry in metres. `stroke` is the place in `strokes` of each of the `lines`; `places` are
    points at which something was found."""

    title: str
    units: Units
    lines: Sequence[object]
    names: Sequence[str]
    stroke: np.ndarray
    strokes: Sequence[Stroke]
    places: Sequence[object] = ()
    pipes: Sequence[object] = ()
    pipe_names: Sequence[str] = ()
    is_main: Sequence[bool] = ()
    land: Sequence[object] = ()
    by: str = "what is proposed for them"


def layout_view_box(shown: LayoutMap) -> tuple[float, float, float, float]:
    """The rectangle of ground the map shows, in metres."""
    return _SHEET.view(shown.lines).box_m


def layout_map_svg(shown: LayoutMap) -> str:
    """The map as an SVG element."""
    view = _SHEET.view(shown.lines)
    what = f"Map of {len(shown.lines):,} lines of a layout by {shown.by}, with the archive's pipes."
    drawing, labels = _SHEET.begin(shown.title, what)
    draw_land(drawing, view, shown.land)
    pipes = clipped(shown.pipes, view)
    draw_pipes(drawing, view, pipes, shown.is_main)
    lines = clipped(shown.lines, view)
    for place, stroke in enumerate(shown.strokes):
        runs = runs_of(view, lines[shown.stroke == place]) if len(lines) else []
        drawing.lines(runs, stroke="#ffffff", stroke_width=stroke.width + 3)
        drawing.lines(runs, stroke=stroke.colour, stroke_width=stroke.width, stroke_dasharray=stroke.dash or None)
    points = view.pixels(shapely.get_coordinates(clipped(shown.places, view)))
    for x, y in points:
        drawing.circle(x, y, 5, fill="#ffffff", stroke=INK, stroke_width=1.5)
    labels.keep_clear([], points)
    _name_lines(labels, view, lines, shown)
    _name_mains(labels, view, pipes, shown)
    _draw_legend(drawing, shown, _SHEET.frame[3] + 22)
    return _SHEET.finish(drawing, view, shown.units, _SHEET.width / 5)


def _name_lines(labels: Labels, view, lines: np.ndarray, shown: LayoutMap) -> None:
    """Names of lines of the layout, those asked about first; of very many only as many as can be read."""
    order = np.argsort(-shown.stroke, kind="stable")[: _MOST_NAMES]
    for row in order.tolist():
        runs = runs_of(view, lines[[row]])
        stroke = shown.strokes[shown.stroke[row]]
        places = [(share, down) for down in (SIZE / 3, -SIZE / 2, 1.4 * SIZE) for share in _SHARES]
        for share, down in places if runs else ():
            x, y = along_run(max(runs, key=length_px), share)
            if labels.place(x, y + down, str(shown.names[row]), fill=stroke.colour, font_weight="bold"):
                break


def _name_mains(labels: Labels, view, pipes: np.ndarray, shown: LayoutMap) -> None:
    for pipe, name, is_main in zip(pipes, shown.pipe_names, shown.is_main):
        runs = runs_of(view, np.array([pipe], dtype=object)) if is_main else []
        for share in (0.5, 0.2, 0.8) if runs else ():
            x, y = along_run(max(runs, key=length_px), share)
            if labels.place(x, y + SIZE / 3, str(name), fill="#3d3d3d"):
                break


def _draw_legend(drawing: Drawing, shown: LayoutMap, y: float) -> None:
    """What each stroke means; only those on the map."""
    x = float(MARGIN)
    entries = [stroke for place, stroke in enumerate(shown.strokes) if (shown.stroke == place).any()]
    for stroke in entries:
        drawing.line(x, y - 4, x + 34, y - 4, stroke=stroke.colour, stroke_width=stroke.width,
                     stroke_dasharray=stroke.dash or None)
        drawing.text(x + 40, y, stroke.words, SIZE)
        x += 52 + text_width(stroke.words, SIZE)
    if len(shown.places):
        drawing.circle(x + 6, y - 4, 5, fill="#ffffff", stroke=INK, stroke_width=1.5)
        drawing.text(x + 18, y, "something found here", SIZE)
