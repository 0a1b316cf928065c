"""A small map of one finding: the pipes around it in grey, the found stretch or place in its pattern."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from ..checks.declare import FOUND
from ..units import Units
from .axes import round_step
from .calls import style_of
from .svg import INK, Drawing, boxes_overlap, text_width

SIZE = 12
_HEADING = 28
_FOOT = 34
_MARGIN = 8
PIPE = "#6f6f6f"
LAND = "#b9b9b9"
TREES = "#a9cf95"
_LEAST_SPAN_M = 60.0
_AROUND = 1.8


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


@dataclass(frozen=True)
class View:
    """The rectangle of ground shown, and where it lies in the drawing; north is up."""

    west_m: float
    south_m: float
    east_m: float
    north_m: float
    left: float
    top: float
    px_per_m: float

    @property
    def box_m(self) -> tuple[float, float, float, float]:
        return self.west_m, self.south_m, self.east_m, self.north_m

    def pixels(self, xy_m: np.ndarray) -> np.ndarray:
        return np.column_stack(
            [
                self.left + (xy_m[:, 0] - self.west_m) * self.px_per_m,
                self.top + (self.north_m - xy_m[:, 1]) * self.px_per_m,
            ]
        )


@dataclass
class _Labels:
    """Names placed so far, so that no two lie on one another."""

    drawing: Drawing
    frame: tuple[float, float, float, float]
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def place(self, x: float, y: float, text: str, **style: object) -> bool:
        half = text_width(text, SIZE) / 2 + 2
        x = min(max(x, self.frame[0] + half), self.frame[2] - half)
        box = (x - half, y - SIZE, x + half, y + 4)
        inside = self.frame[1] <= box[1] and box[3] <= self.frame[3]
        if not text or not inside or boxes_overlap(box, self.taken):
            return False
        self.taken.append(box)
        self.drawing.rect(box[0], box[1] + 1, 2 * half, SIZE + 3, fill="#ffffff", fill_opacity="0.85")
        self.drawing.text(x, y, text, SIZE, "middle", **style)
        return True

    def keep_clear(self, runs: list[np.ndarray], points: np.ndarray) -> None:
        """Keep names off what was found: its corners and a place every 12 px."""
        for run in runs:
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
            at = np.arange(0, along[-1] + 12, 12)
            points = np.vstack([points, np.column_stack([np.interp(at, along, run[:, axis]) for axis in (0, 1)])])
        self.taken += [(x - 7, y - 7, x + 7, y + 7) for x, y in points]


def thumbnail_view(thumbnail: Thumbnail, width: float = 360, height: float = 300) -> View:
    """The view around what was found; `view.pixels(xy_m)` are places in the drawing."""
    across, down = width - 2 * _MARGIN, height - _HEADING - _FOOT
    found = shapely.geometrycollections(np.asarray(list(thumbnail.found), dtype=object))
    west, south, east, north = (0.0, 0.0, 0.0, 0.0) if shapely.is_empty(found) else shapely.bounds(found)
    span_x = max(_AROUND * (east - west), _LEAST_SPAN_M)
    span_y = max(_AROUND * (north - south), _LEAST_SPAN_M)
    px_per_m = min(across / span_x, down / span_y)
    span_x, span_y = across / px_per_m, down / px_per_m
    west, south = (west + east - span_x) / 2, (south + north - span_y) / 2
    return View(west, south, west + span_x, south + span_y, _MARGIN, _HEADING, px_per_m)


def thumbnail_svg(thumbnail: Thumbnail, width: float = 360, height: float = 300) -> str:
    """The small map as an SVG element; type is 12 px at 360 px width."""
    view = thumbnail_view(thumbnail, width, height)
    found = f"{thumbnail.found_name or 'the place'}: {style_of(thumbnail.call).words}"
    what = f"Map of {found}, with {len(thumbnail.pipes):,} pipes around it."
    drawing = Drawing(width, height, thumbnail.title, what)
    drawing.rect(0, 0, width, height, fill="#ffffff")
    drawing.text(_MARGIN, 19, thumbnail.title, 14, font_weight="bold")
    frame = (view.left, view.top, width - _MARGIN, height - _FOOT)
    labels = _Labels(drawing, frame)
    labels.taken.append((frame[2] - 36, frame[1], frame[2], frame[1] + 48))  # the north arrow's place
    _draw_land(drawing, view, thumbnail.land)
    _draw_trees(drawing, view, thumbnail.trees)
    pipes = _clipped(thumbnail.pipes, view)
    _draw_pipes(drawing, view, pipes, thumbnail.is_main)
    runs, points = _found_pixels(view, thumbnail.found)
    _draw_found(drawing, runs, points, thumbnail.call)
    labels.keep_clear(runs, points)
    _name_found(labels, runs, points, thumbnail)
    _name_pipes(labels, view, pipes, thumbnail)
    drawing.rect(frame[0], frame[1], frame[2] - frame[0], frame[3] - frame[1], stroke=INK)
    _draw_north(drawing, frame[2] - 19, frame[1] + 7)
    _draw_scale(drawing, view, thumbnail.units, height - 12, (width - 2 * _MARGIN) / 2.5)
    return drawing.render()


def _clipped(geometry: Sequence[object], view: View) -> np.ndarray:
    shapes = np.asarray(list(geometry), dtype=object)
    return shapely.clip_by_rect(shapes, *view.box_m) if len(shapes) else shapes


def _runs(view: View, geometry: np.ndarray) -> list[np.ndarray]:
    """Pixels of every part of lines."""
    parts = shapely.get_parts(geometry)
    parts = parts[shapely.get_dimensions(parts) == 1]
    return [view.pixels(shapely.get_coordinates(part)) for part in parts]


def _draw_land(drawing: Drawing, view: View, land: Sequence[object]) -> None:
    edges = shapely.boundary(np.asarray(list(land), dtype=object)) if len(land) else ()
    drawing.lines(_runs(view, _clipped(edges, view)), stroke=LAND, stroke_width=1.5, stroke_dasharray="8 3 2 3")


def _draw_trees(drawing: Drawing, view: View, trees: Sequence[object]) -> None:
    """Rows and edges of woods as bands, single trees as blobs."""
    shapes = shapely.get_parts(_clipped(trees, view))
    area = shapely.get_dimensions(shapes) == 2
    shapes[area] = shapely.boundary(shapes[area])
    drawing.lines(_runs(view, shapes), stroke=TREES, stroke_width=9)
    for x, y in view.pixels(shapely.get_coordinates(shapes[shapely.get_dimensions(shapes) == 0])):
        drawing.circle(x, y, 6, fill=TREES)


def _draw_pipes(drawing: Drawing, view: View, pipes: np.ndarray, is_main: Sequence[bool]) -> None:
    main = np.zeros(len(pipes), dtype=bool)
    main[: len(is_main)] = is_main
    drawing.lines(_runs(view, pipes[~main]), stroke=PIPE, stroke_width=1.5)
    drawing.lines(_runs(view, pipes[main]), stroke=PIPE, stroke_width=4)


def _found_pixels(view: View, found: Sequence[object]) -> tuple[list[np.ndarray], np.ndarray]:
    """Lines and points of what was found."""
    shapes = shapely.get_parts(_clipped(found, view))
    points = shapes[shapely.get_dimensions(shapes) == 0]
    return _runs(view, shapes), view.pixels(shapely.get_coordinates(points))


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


def _along(run: np.ndarray, share: float) -> np.ndarray:
    """The point at a share of the length of a line of pixels."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    return np.array([np.interp(share * along[-1], along, run[:, axis]) for axis in (0, 1)])


def _name_found(labels: _Labels, runs: list[np.ndarray], points: np.ndarray, thumbnail: Thumbnail) -> None:
    if not runs and not len(points):
        return
    x, y = _along(max(runs, key=_length_px), 0.5) if runs else points[0]
    style = style_of(thumbnail.call)
    name = thumbnail.found_name if thumbnail.call == FOUND else f"{thumbnail.found_name}: {style.words}"
    aside = text_width(name, SIZE) / 2 + 14  # beside a line that runs up the map
    for right, down in ((0, -15), (0, 26), (aside, 4), (-aside, 4), (0, -32), (0, 43)):
        if labels.place(x + right, y + down, name, fill=style.colour, font_weight="bold"):
            return


def _length_px(run: np.ndarray) -> float:
    return float(np.hypot(*np.diff(run, axis=0).T).sum())


def _name_pipes(labels: _Labels, view: View, pipes: np.ndarray, thumbnail: Thumbnail) -> None:
    """Name mains, then the pipes nearest to the middle, as many as find room."""
    main = list(thumbnail.is_main) + [False] * len(pipes)
    named = []
    for pipe, name, is_main in zip(pipes, thumbnail.names, main):
        runs = _runs(view, np.array([pipe], dtype=object))
        if runs and name and name != thumbnail.found_name:
            named.append((not is_main, max(runs, key=_length_px), str(name)))
    centre = view.pixels(np.array([[(view.west_m + view.east_m) / 2, (view.south_m + view.north_m) / 2]]))[0]
    named.sort(key=lambda one: (one[0], float(np.hypot(*(_along(one[1], 0.5) - centre)))))
    for _, run, name in named:
        for share in (0.5, 0.2, 0.8):
            x, y = _along(run, share)
            if labels.place(x, y + SIZE / 3, name, fill="#3d3d3d"):
                break


def _draw_north(drawing: Drawing, x: float, y: float) -> None:
    drawing.rect(x - 14, y - 4, 28, 42, fill="#ffffff", fill_opacity="0.85")
    drawing.areas([np.array([[x, y], [x + 6, y + 20], [x, y + 15], [x - 6, y + 20]])], fill=INK)
    drawing.text(x, y + 34, "N", SIZE, "middle", font_weight="bold")


def _draw_scale(drawing: Drawing, view: View, units: Units, y: float, longest_px: float) -> None:
    """A bar of a round length in the archive's unit."""
    unit_px = view.px_per_m * units.length_m
    step = round_step(longest_px / unit_px, 10)
    count = next(count for count in (10, 5, 2, 1) if count * step * unit_px <= longest_px)
    length = count * step
    width = length * unit_px
    drawing.rect(view.left, y - 6, width / 2, 6, fill=INK, stroke=INK)
    drawing.rect(view.left + width / 2, y - 6, width / 2, 6, stroke=INK)
    drawing.text(view.left + width + 8, y + 1, f"{length:,.10g} {units.length_name}", SIZE)
