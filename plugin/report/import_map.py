"""The map of an import: what would come in by its role, what is doubtful dashed, the archive's pipe in grey."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from ..importing.plan import ImportPlan
from ..units import Units
from .content import Figure
from .layout_map import LayoutMap, Stroke, layout_map_svg, layout_view_box

_STROKES = (
    Stroke("lateral", "#0b5d8a", 1.6, ""), Stroke("submain", "#0b5d8a", 3.0, ""), Stroke("main", "#0b5d8a", 4.5, ""),
    Stroke("outlet pipe", "#0b5d8a", 6.0, ""), Stroke("doubtful", "#a34700", 2.4, "7 4"),
)  # fmt: skip
_ROLES = ("lateral", "submain", "main", "outlet_pipe")
_DOUBTFUL = len(_STROKES) - 1
MOST_DRAWN = 4_000


def view_box(plan: ImportPlan) -> tuple[float, float, float, float] | None:
    """The rectangle the map will show, in metres; None where nothing can be drawn."""
    shown = _shown(plan, Units(), (), ())
    return layout_view_box(shown) if len(shown.lines) else None


def import_map(plan: ImportPlan, units: Units, pipes: Sequence[object] = (),
               land: Sequence[object] = ()) -> Figure | None:
    """The map as a figure; `pipes` and `land` of the archive in metres. None where nothing can be drawn."""
    shown = _shown(plan, units, pipes, land)
    if not len(shown.lines):
        return None
    caption = "What would come in, by its role"
    caption += "; the archive's pipes in grey." if len(pipes) else "."
    count = plan.count("drains")
    if count > len(shown.lines):
        caption += f" {len(shown.lines):,} of {count:,} lines are drawn; the others lie elsewhere or are too many."
    return Figure(layout_map_svg(shown), caption, True)


def _shown(plan: ImportPlan, units: Units, pipes: Sequence[object], land: Sequence[object]) -> LayoutMap:
    """Lines whose place is sure; the doubtful ones among them as far as they lie within their reach."""
    drafts = plan.rows_for("drains")
    lines = np.concatenate([draft.shapes for draft in drafts] or [np.empty(0, dtype=object)])
    doubtful = np.concatenate([draft.doubtful for draft in drafts] or [np.zeros(0, dtype=bool)])
    role = np.concatenate([draft.values["role"] for draft in drafts] or [np.empty(0, dtype=object)])
    names = np.concatenate([_names(draft) for draft in drafts] or [np.empty(0, dtype=object)])
    stroke = np.where(doubtful, _DOUBTFUL, [_ROLES.index(one) for one in role] if len(role) else 0).astype(int)
    if doubtful.any() and not doubtful.all():
        near = shapely.box(*_twice(shapely.total_bounds(lines[~doubtful])))
        kept = ~doubtful | shapely.intersects(lines, near)
        lines, stroke, names = lines[kept], stroke[kept], names[kept]
    step = max(len(lines) // MOST_DRAWN, 1)
    size = plan.setting.plan_m
    lines = shapely.transform(lines[::step], lambda xy: xy * size)
    return LayoutMap("What would come in", units, lines, names[::step], stroke[::step], _STROKES, pipes=pipes,
                     land=land)


def _names(draft: object) -> np.ndarray:
    """Names people gave; keys that were made up are no names."""
    names = draft.values.get("name", np.full(len(draft), None, dtype=object))
    keys = np.array([key if len(str(key)) < 16 else "" for key in draft.values["drain_id"]], dtype=object)
    return np.where(np.equal(names, None), keys, names)


def _twice(box: np.ndarray) -> tuple[float, float, float, float]:
    across, down = max(box[2] - box[0], box[3] - box[1]), max(box[2] - box[0], box[3] - box[1])
    return box[0] - across / 2, box[1] - down / 2, box[2] + across / 2, box[3] + down / 2
