"""What small maps are made of: the view, names that do not lie on one another, land, north arrow, scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from ..units import Units
from .axes import round_step
from .svg import INK, Drawing, boxes_overlap, text_width

SIZE = 12
MARGIN = 8
LAND = "#b9b9b9"
PIPE = "#6f6f6f"


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


def fit_view(
    shown: Sequence[object], frame: tuple[float, float, float, float], around: float, least_span_m: float
) -> View:
    """The view around shapes, `around` times as wide as they; `frame`: left, top, width and height in the drawing."""
    left, top, across, down = frame
    found = shapely.geometrycollections(np.asarray(list(shown), dtype=object))
    west, south, east, north = (0.0, 0.0, 0.0, 0.0) if shapely.is_empty(found) else shapely.bounds(found)
    span_x, span_y = max(around * (east - west), least_span_m), max(around * (north - south), least_span_m)
    px_per_m = min(across / span_x, down / span_y)
    span_x, span_y = across / px_per_m, down / px_per_m
    west, south = (west + east - span_x) / 2, (south + north - span_y) / 2
    return View(west, south, west + span_x, south + span_y, left, top, px_per_m)


@dataclass
class Labels:
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


@dataclass(frozen=True)
class Sheet:
    """The paper of a small map in pixels: room above the frame for the title (none: no title), below it for the scale.

    The view is `around` times as wide as what is shown, `least_span_m` at least.
    """

    width: float
    height: float
    foot: float
    around: float
    least_span_m: float
    heading: float = 28

    @property
    def frame(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the map."""
        return MARGIN, self.heading or MARGIN, self.width - MARGIN, self.height - self.foot

    def view(self, shown: Sequence[object]) -> View:
        left, top, right, bottom = self.frame
        return fit_view(shown, (left, top, right - left, bottom - top), self.around, self.least_span_m)

    def begin(self, title: str, what: str) -> tuple[Drawing, Labels]:
        drawing = Drawing(self.width, self.height, title, what)
        drawing.rect(0, 0, self.width, self.height, fill="#ffffff")
        if self.heading:
            drawing.text(MARGIN, 19, title, 14, font_weight="bold")
        _, top, right, _ = self.frame
        return drawing, Labels(drawing, self.frame, [(right - 36, top, right, top + 48)])  # the north arrow's place

    def finish(self, drawing: Drawing, view: View, units: Units, longest_scale_px: float) -> str:
        """The map as an SVG element, with its frame, north arrow and scale."""
        left, top, right, bottom = self.frame
        drawing.rect(left, top, right - left, bottom - top, stroke=INK)
        draw_north(drawing, right - 19, top + 7)
        draw_scale(drawing, view, units, self.height - 10, longest_scale_px)
        return drawing.render()


def clipped(geometry: Sequence[object], view: View) -> np.ndarray:
    shapes = np.asarray(list(geometry), dtype=object)
    return shapely.clip_by_rect(shapes, *view.box_m) if len(shapes) else shapes


def runs_of(view: View, geometry: np.ndarray) -> list[np.ndarray]:
    """Pixels of every part of lines."""
    parts = shapely.get_parts(geometry)
    parts = parts[shapely.get_dimensions(parts) == 1]
    return [view.pixels(shapely.get_coordinates(part)) for part in parts]


def draw_land(drawing: Drawing, view: View, land: Sequence[object]) -> None:
    edges = shapely.boundary(np.asarray(list(land), dtype=object)) if len(land) else ()
    drawing.lines(runs_of(view, clipped(edges, view)), stroke=LAND, stroke_width=1.5, stroke_dasharray="8 3 2 3")


def draw_pipes(drawing: Drawing, view: View, pipes: np.ndarray, is_main: Sequence[bool]) -> None:
    main = np.zeros(len(pipes), dtype=bool)
    main[: len(is_main)] = is_main
    drawing.lines(runs_of(view, pipes[~main]), stroke=PIPE, stroke_width=1.5)
    drawing.lines(runs_of(view, pipes[main]), stroke=PIPE, stroke_width=4)


def along_run(run: np.ndarray, share: float) -> np.ndarray:
    """The point at a share of the length of a line of pixels."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    return np.array([np.interp(share * along[-1], along, run[:, axis]) for axis in (0, 1)])


def length_px(run: np.ndarray) -> float:
    return float(np.hypot(*np.diff(run, axis=0).T).sum())


def draw_north(drawing: Drawing, x: float, y: float) -> None:
    drawing.rect(x - 14, y - 4, 28, 42, fill="#ffffff", fill_opacity="0.85")
    drawing.areas([np.array([[x, y], [x + 6, y + 20], [x, y + 15], [x - 6, y + 20]])], fill=INK)
    drawing.text(x, y + 34, "N", SIZE, "middle", font_weight="bold")


def draw_scale(drawing: Drawing, view: View, units: Units, y: float, longest_px: float) -> None:
    """A bar of a round length in the archive's unit."""
    unit_px = view.px_per_m * units.length_m
    step = round_step(longest_px / unit_px, 10)
    count = next(count for count in (10, 5, 2, 1) if count * step * unit_px <= longest_px)
    length = count * step
    width = length * unit_px
    drawing.rect(view.left, y - 6, width / 2, 6, fill=INK, stroke=INK)
    drawing.rect(view.left + width / 2, y - 6, width / 2, 6, stroke=INK)
    drawing.text(view.left + width + 8, y + 1, f"{length:,.10g} {units.length_name}", SIZE)
