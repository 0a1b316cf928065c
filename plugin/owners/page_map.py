"""Maps for one owner's page: his own land with the pipe under it, and nothing beyond its edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..report.map_parts import (
    MARGIN,
    Labels,
    Sheet,
    View,
    along_run,
    clipped,
    length_px,
    runs_of,
)
from ..report.svg import Drawing
from ..units import Units

WIDTH, HEIGHT = 700, 400
_TOGETHER_M = 150.0  # pieces of land this near to each other share a map
_MOST_MAPS = 6
_SHEET = Sheet(WIDTH, HEIGHT, 30, 1.08, 60.0, heading=0)
_FIELD, _EDGE, _PIPE, _BAD = "#f4f1e6", "#6f6f6f", "#14507a", "#b3261e"


@dataclass(frozen=True)
class MapParts:
    """One owner's land with its names, pipe under it with its names, and a place to mark; geometry in metres."""

    polygon: np.ndarray
    field: Sequence[str]
    pipe: np.ndarray
    pipe_name: Sequence[str]
    is_main: np.ndarray
    place: shapely.Point | None = None


def owner_maps(parts: MapParts, units: Units) -> tuple[tuple[str, str], ...]:
    """A drawing for every group of land that lies together, the largest first, with a sentence about it."""
    group = _groups(parts.polygon)
    size = np.bincount(group, shapely.area(parts.polygon)) if len(group) else np.zeros(0)
    order = np.argsort(-size, kind="stable")
    maps = []
    for number in order[:_MOST_MAPS].tolist():
        rows = np.flatnonzero(group == number)
        names = [parts.field[row] for row in rows.tolist() if parts.field[row]]
        caption = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
        maps.append((_draw(parts, rows, caption or "Your land", units), caption or "Your land"))
    return tuple(maps)


def _groups(polygon: np.ndarray) -> np.ndarray:
    """Number of the group of each polygon."""
    a, b = shapely.STRtree(polygon).query(polygon, predicate="dwithin", distance=_TOGETHER_M)
    graph = csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(len(polygon), len(polygon)))
    return connected_components(graph, directed=False)[1]


def _draw(parts: MapParts, rows: np.ndarray, title: str, units: Units) -> str:
    view = _SHEET.view(parts.polygon[rows])
    drawing, labels = _SHEET.begin(title, f"Map of {title} with the pipe under it.")
    for polygon in shapely.get_parts(parts.polygon[rows]):
        rings = [view.pixels(shapely.get_coordinates(ring)) for ring in (polygon.exterior, *polygon.interiors)]
        drawing.areas(rings, fill=_FIELD, fill_rule="evenodd", stroke=_EDGE, stroke_width=1.5,
                      stroke_dasharray="8 3 2 3")
    _draw_pipe(drawing, view, parts)
    _mark_place(drawing, view, parts.place)
    _name_fields(labels, view, parts, rows)
    _name_pipes(labels, view, parts)
    return _SHEET.finish(drawing, view, units, (WIDTH - 2 * MARGIN) / 3)


def _draw_pipe(drawing: Drawing, view: View, parts: MapParts) -> None:
    for main, width in ((False, 1.2), (True, 3.5)):
        chosen = parts.pipe[parts.is_main == main]
        drawing.lines(runs_of(view, clipped(chosen, view)), stroke=_PIPE, stroke_width=width)


def _mark_place(drawing: Drawing, view: View, place: shapely.Point | None) -> None:
    """A ring with a cross at the place asked about."""
    if place is None:
        return
    x, y = view.pixels(np.array([[place.x, place.y]]))[0]
    if not (view.left <= x <= WIDTH and 0 <= y <= HEIGHT):
        return
    drawing.circle(x, y, 9, stroke="#ffffff", stroke_width=6)
    drawing.circle(x, y, 9, stroke=_BAD, stroke_width=3)
    drawing.line(x - 4, y, x + 4, y, stroke=_BAD, stroke_width=2)
    drawing.line(x, y - 4, x, y + 4, stroke=_BAD, stroke_width=2)


def _name_fields(labels: Labels, view: View, parts: MapParts, rows: np.ndarray) -> None:
    for row in rows.tolist():
        point = shapely.point_on_surface(parts.polygon[row])
        x, y = view.pixels(np.array([[point.x, point.y]]))[0]
        for shift in (4, -18, 26):
            if labels.place(x, y + shift, parts.field[row], font_weight="bold"):
                break


def _name_pipes(labels: Labels, view: View, parts: MapParts) -> None:
    """Mains first, then laterals as long as there is room."""
    for main in (True, False):
        for row in np.flatnonzero(parts.is_main == main).tolist():
            runs = runs_of(view, clipped(parts.pipe[row:row + 1], view))
            if not runs or not parts.pipe_name[row]:
                continue
            run = max(runs, key=length_px)
            for share in (0.5, 0.25, 0.75):
                x, y = along_run(run, share)
                if labels.place(x, y + 4, parts.pipe_name[row], fill=_PIPE):
                    break
