"""A small map of one finding: the pipes around it in grey, the found stretch or place in its pattern."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..checks.declare import FOUND
from ..units import Units
from .calls import style_of
from .map_parts import (
    MARGIN,
    SIZE,
    Labels,
    Sheet,
    View,
    along_run,
    clipped,
    draw_land,
    draw_pipes,
    length_px,
    runs_of,
)
from .svg import Drawing, text_width

TREES = "#a9cf95"


@dataclass(frozen=True)
class Thumbnail:
    """What a small map shows; geometry in metres, only what lies near need be given.

    `found` are lines, points or both, drawn as `call` asks; `pipes` the pipes around with their `names` and
    whether each is a main; `land` polygons; `trees` of any geometry. Owners are never named: the page may be handed on.
    """

    title: str
    units: Units
    found: Sequence[object]
    call: str = FOUND
    found_name: str = ""
    pipes: Sequence[object] = ()
    names: Sequence[str] = ()
    is_main: Sequence[bool] = ()
    land: Sequence[object] = ()
    trees: Sequence[object] = ()


def thumbnail_view(thumbnail: Thumbnail, width: float = 360, height: float = 300) -> View:
    """The view around what was found; `view.pixels(xy_m)` are places in the drawing."""
    return _sheet(width, height).view(thumbnail.found)


def _sheet(width: float, height: float) -> Sheet:
    return Sheet(width, height, 34, 1.8, 60.0)


def thumbnail_svg(thumbnail: Thumbnail, width: float = 360, height: float = 300) -> str:
    """The small map as an SVG element; type is 12 px at 360 px width."""
    sheet = _sheet(width, height)
    view = sheet.view(thumbnail.found)
    found = f"{thumbnail.found_name or 'the place'}: {style_of(thumbnail.call).words}"
    what = f"Map of {found}, with {len(thumbnail.pipes):,} pipes around it."
    drawing, labels = sheet.begin(thumbnail.title, what)
    draw_land(drawing, view, thumbnail.land)
    _draw_trees(drawing, view, thumbnail.trees)
    pipes = clipped(thumbnail.pipes, view)
    draw_pipes(drawing, view, pipes, thumbnail.is_main)
    runs, points = _found_pixels(view, thumbnail.found)
    _draw_found(drawing, runs, points, thumbnail.call)
    labels.keep_clear(runs, points)
    _name_found(labels, runs, points, thumbnail)
    _name_pipes(labels, view, pipes, thumbnail)
    return sheet.finish(drawing, view, thumbnail.units, (width - 2 * MARGIN) / 2.5)


def _draw_trees(drawing: Drawing, view: View, trees: Sequence[object]) -> None:
    """Rows and edges of woods as bands, single trees as blobs."""
    shapes = shapely.get_parts(clipped(trees, view))
    area = shapely.get_dimensions(shapes) == 2
    shapes[area] = shapely.boundary(shapes[area])
    drawing.lines(runs_of(view, shapes), stroke=TREES, stroke_width=9)
    for x, y in view.pixels(shapely.get_coordinates(shapes[shapely.get_dimensions(shapes) == 0])):
        drawing.circle(x, y, 6, fill=TREES)


def _found_pixels(view: View, found: Sequence[object]) -> tuple[list[np.ndarray], np.ndarray]:
    """Lines and points of what was found."""
    shapes = shapely.get_parts(clipped(found, view))
    points = shapes[shapely.get_dimensions(shapes) == 0]
    return runs_of(view, shapes), view.pixels(shapely.get_coordinates(points))


def _draw_found(drawing: Drawing, runs: list[np.ndarray], points: np.ndarray, call: str) -> None:
    style = style_of(call)
    drawing.lines(runs, stroke="#ffffff", stroke_width=style.width + 6)
    drawing.lines(runs, stroke=style.colour, stroke_width=style.width + 0.5, stroke_dasharray=style.dash or None)
    for x, y in (end for run in runs for end in (run[0], run[-1])):
        drawing.circle(x, y, 3.5, fill="#ffffff", stroke=style.colour, stroke_width=2)
    for x, y in points:
        drawing.circle(x, y, 9, stroke="#ffffff", stroke_width=6)
        drawing.circle(x, y, 9, stroke=style.colour, stroke_width=3)
        drawing.line(x - 4, y, x + 4, y, stroke=style.colour, stroke_width=2)
        drawing.line(x, y - 4, x, y + 4, stroke=style.colour, stroke_width=2)


def _name_found(labels: Labels, runs: list[np.ndarray], points: np.ndarray, thumbnail: Thumbnail) -> None:
    if not runs and not len(points):
        return
    x, y = along_run(max(runs, key=length_px), 0.5) if runs else points[0]
    style = style_of(thumbnail.call)
    name = thumbnail.found_name if thumbnail.call == FOUND else f"{thumbnail.found_name}: {style.words}"
    aside = text_width(name, SIZE) / 2 + 14  # beside a line that runs up the map
    for right, down in ((0, -15), (0, 26), (aside, 4), (-aside, 4), (0, -32), (0, 43)):
        if labels.place(x + right, y + down, name, fill=style.colour, font_weight="bold"):
            return


def _name_pipes(labels: Labels, view: View, pipes: np.ndarray, thumbnail: Thumbnail) -> None:
    """Name mains, then the pipes nearest to the middle, as many as find room."""
    main = list(thumbnail.is_main) + [False] * len(pipes)
    named = []
    for pipe, name, is_main in zip(pipes, thumbnail.names, main):
        runs = runs_of(view, np.array([pipe], dtype=object))
        if runs and name and name != thumbnail.found_name:
            named.append((not is_main, max(runs, key=length_px), str(name)))
    centre = view.pixels(np.array([[(view.west_m + view.east_m) / 2, (view.south_m + view.north_m) / 2]]))[0]
    named.sort(key=lambda one: (one[0], float(np.hypot(*(along_run(one[1], 0.5) - centre)))))
    for _, run, name in named:
        for share in (0.5, 0.2, 0.8):
            x, y = along_run(run, share)
            if labels.place(x, y + SIZE / 3, name, fill="#3d3d3d"):
                break
