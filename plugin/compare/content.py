"""From a comparison to the content of its page."""

from __future__ import annotations

import numpy as np
import shapely

from ..report.cautions import OF_A_LAYOUT
from ..report.content import ComparisonContent, Facts, Figure, LineGroup, Missed, Table
from ..report.layout_map import LayoutMap, Stroke, layout_map_svg, layout_view_box
from .change import Change
from .classes import ACTION_WORDS, ASK, CLASSES, JOIN, KEEP, TAKE
from .columns import decisions_table
from .judge import Comparison
from .words import said_change, said_classes, said_counts, said_move, show_area

_ROWS_SHOWN = 20
_MOST_PIPES = 2000
_MAINS = ("main", "submain", "outlet_pipe")
_USED = (
    "same_shape", "near_duplicate_distance", "near_duplicate_share", "near_duplicate_bearing", "exact_joint",
    "p_reverse", "layout_far", "levels_apart",
)  # fmt: skip
# drawn in this order, so that what is asked about lies on top
_STROKES = {
    KEEP: Stroke("the archive has it", "#4d4d4d", 2.0, "2 4"),
    TAKE: Stroke("can be taken", "#0b5c8a", 2.5, ""),
    JOIN: Stroke("can be taken with its joint", "#0b5c8a", 2.5, "10 3 2 3"),
    ASK: Stroke("ask first", "#8c1264", 3.5, "9 3"),
}
_TO_DECIDE_FIRST = sorted(enumerate(CLASSES), key=lambda one: (ASK, JOIN, TAKE, KEEP).index(one[1].action))
HOW_TO_ACCEPT = (
    "Run Accept a layout (acceptlayout) with the same archive and layout. As it stands it takes the lines that can be "
    "taken, all or none of them, as one batch of the history; the archive's own drains stay as they are.",
    "To decide otherwise, change the column action in DECISIONS (take, join, replace, keep or ask) and give that layer "
    "to acceptlayout; or name the keys of lines, or classes, there.",
    "All lines of the layout are kept beside the archive's drains, whether they are taken or not.",
)


def comparison_content(compared: Comparison, facts: Facts) -> ComparisonContent:
    """Everything `render_comparison` shows."""
    units = compared.settings.units
    return ComparisonContent(
        facts=facts,
        sentences=(
            said_counts(compared), *said_change(compared.proposed_change, units, "what can be taken"),
            *said_classes(compared), *said_change(compared.all_change, units, "all that can be accepted"),
        ),
        counts=_counts(compared),
        map=_map(compared),
        groups=tuple(_groups(compared)),
        outlets=_outlets(compared),
        moves=_moves(compared),
        how_to_accept=HOW_TO_ACCEPT,
        not_checked=tuple(_not_checked(compared)),
        limits=tuple(compared.settings.limits.of(name) for name in _USED),
        cautions=OF_A_LAYOUT,
    )


def _counts(compared: Comparison) -> Table:
    units, length_m = compared.settings.units, compared.length_m
    rows = tuple(
        (one.title, ACTION_WORDS[one.action], f"{int(own.sum()):,}", units.show_length(float(length_m[own].sum())))
        for place, one in _TO_DECIDE_FIRST if (own := compared.kind == place).any()
    )
    return Table(("What they are", "Proposed", "Lines", "Length"), rows, "The layout holds no line.")


def _groups(compared: Comparison):
    columns, _ = decisions_table(compared)
    units = compared.settings.units
    for place, one in _TO_DECIDE_FIRST:
        rows = np.flatnonzero(compared.kind == place)
        if not len(rows):
            continue
        shown = tuple(
            (
                f"{columns['name'][row]}, {str(columns['role'][row] or 'role unknown').replace('_', ' ')}",
                units.show_length(float(compared.length_m[row])), str(columns["other_id"][row] or ""),
                str(columns["detail"][row] or ""), str(columns["if_accepted"][row]),
            )
            for row in rows[:_ROWS_SHOWN]
        )
        heads = ("Line", "Length", "Concerns", "Detail", "Accepting would")
        yield LineGroup(one.id, one.title, ACTION_WORDS[one.action], one.remedy, len(rows), Table(heads, shown, ""))


def _outlets(compared: Comparison) -> Table:
    units = compared.settings.units
    everything, proposed = ({one.key: one for one in change.outlets}
                            for change in (compared.all_change, compared.proposed_change))
    rows = []
    for key in dict.fromkeys([*proposed, *everything]):
        one = proposed.get(key) or everything[key]
        cells = [one.name]
        for before, after, show in (("area_before_m2", "area_after_m2", show_area),
                                    ("length_before_m", "length_after_m", lambda value, u: u.show_length(value, 0))):
            cells.append(show(getattr(one, before), units))
            cells += [show(getattr(change[key], after) if key in change else 0.0, units)
                      for change in (proposed, everything)]
        rows.append(tuple(cells))
    heads = ("Outlet", *(f"{what} {when}" for what in ("Land", "Pipe") for when in ("before", "if taken", "if all")))
    return Table(heads, tuple(rows), "The layout touches no pipe and no land of the archive.")


def _moves(compared: Comparison) -> Table:
    units = compared.settings.units

    def rows_of(change: Change, accepting: str):
        for one in change.moved:
            yield accepting, f"{one.before_name} to {one.after_name}", show_area(one.area_m2, units), ", ".join(
                one.drains[:8]) + (" ..." if len(one.drains) > 8 else ""), said_move(one, change, units)

    rows = (*rows_of(compared.proposed_change, "what can be taken"), *rows_of(compared.all_change, "all"))
    return Table(("Accepting", "From and to", "Land", "Drains", "Detail"), tuple(rows), "No land changes its outlet.")


def _not_checked(compared: Comparison):
    names = compared.layout.drains.name[compared.tie_in_unknown]
    if len(names):
        yield Missed(
            "Whether they tie in above the pipe that takes their water",
            "No invert is known on one side of the joint: shoot both, or take the inverts in with the layout.",
            len(names), tuple(str(name) for name in names[:5]),
        )
    if compared.archive.land is None or not len(compared.archive.land):
        yield Missed("Property lines", "The archive has no land: draw its fields, lots and roads with their owners.")
    waiting = compared.layout.drains.name[~compared.layout.drains.in_ground]
    if len(waiting):
        yield Missed(
            "Joints and outlets of lines that are not in the ground",
            "Their status says proposed, abandoned or removed, or their evidence disproved: they carry no water.",
            len(waiting), tuple(str(name) for name in waiting[:5]),
        )
    yield Missed("Fall along the new lines, cover and trees",
                 "Run Check drains on the archive once they are taken, or on the layout.")


def _map(compared: Comparison) -> Figure | None:
    shapes = compared.layout.drains.geometry
    wrong = compared.reasons.has(len(shapes), "bad-geometry", "several-parts", "wrong-place")
    rows = np.flatnonzero(~wrong)
    if not len(rows):
        return None
    kinds = list(_STROKES)
    stroke = np.array([kinds.index(action) for action in compared.action[rows].tolist()], dtype=np.int64)
    shown = LayoutMap(
        "The layout on the archive's pipes", compared.settings.units, shapely.force_2d(shapes[rows]),
        compared.layout.drains.name[rows], stroke, tuple(_STROKES.values()), _places(compared, ~wrong),
    )
    view = shapely.box(*layout_view_box(shown))
    drains = compared.touched.drains
    near = np.flatnonzero(drains.in_ground & shapely.intersects(drains.geometry, view))[:_MOST_PIPES]
    land = compared.archive.land
    around = [] if land is None else land.geometry[shapely.intersects(land.geometry, view)]
    full = LayoutMap(
        shown.title, shown.units, shown.lines, shown.names, shown.stroke, shown.strokes, shown.places,
        shapely.force_2d(drains.geometry[near]), drains.name[near], np.isin(drains.role[near].astype(str), _MAINS),
        around,
    )
    return Figure(layout_map_svg(full), "Grey: pipe of the archive in the ground. Rings: see the details below.", True)


def _places(compared: Comparison, wanted: np.ndarray) -> np.ndarray:
    reasons = compared.reasons
    placed = np.isfinite(reasons.xy_m).all(axis=1) & wanted[reasons.row]
    return shapely.points(reasons.xy_m[placed])
