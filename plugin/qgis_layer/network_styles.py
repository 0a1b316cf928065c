"""Symbols of pipes, of what stands on them, and of what was shot and repaired on them."""

from __future__ import annotations

from qgis.core import QgsMarkerSymbol, QgsVectorLayer

from ..units import Units
from .symbols import (
    BAD,
    GONE,
    INK,
    NOT_KNOWN,
    PALE,
    PIPE,
    PIPE_LIGHT,
    PROPOSED,
    WHITE,
    Label,
    Rule,
    is_one_of,
    line,
    line_layer,
    line_of,
    marker,
    marker_layer,
    marker_of,
    marks,
    show,
)

_IN_GROUND = "coalesce(\"status\", 'in_ground') = 'in_ground'"
_DOUBTED = is_one_of("evidence", "assumed", "disproved")
_NAMED = 'coalesce("name", "drain_id")'
_BIG = ("main", "submain", "outlet_pipe")


def style_drains(layer: QgsVectorLayer, units: Units) -> None:
    """Width by role; what is not plainly in the ground has a dash pattern of its own."""
    certain = f"{_IN_GROUND} and not coalesce({_DOUBTED}, false) and "
    crosses = marks(marker("cross2", 2.0, GONE, GONE, 0.4), 9)
    red_crosses = marks(marker("cross2", 2.0, BAD, BAD, 0.3), 5)
    tile = f"if({is_one_of('material', 'clay', 'concrete')}, ' ' || \"material\", '')"
    size = f"coalesce(', ' || \"diameter\" || ' {units.name('diameter')}' || {tile}, '')"
    show(
        layer,
        (
            Rule("Main", certain + is_one_of("role", "main"), line(PIPE, 1.3)),
            Rule("Submain", certain + is_one_of("role", "submain"), line(PIPE, 0.7)),
            Rule("Lateral", certain + is_one_of("role", "lateral"), line(PIPE_LIGHT, 0.35)),
            Rule("Outlet pipe", certain + is_one_of("role", "outlet_pipe"),
                 line_of(line_layer(PIPE, 1.8), line_layer(WHITE, 0.7))),
            Rule("Assumed", f"{_IN_GROUND} and \"evidence\" = 'assumed'", line(PIPE, 0.6, "2.2;1.4")),
            Rule("Disproved", f"{_IN_GROUND} and \"evidence\" = 'disproved'",
                 line_of(line_layer(BAD, 0.3, "0.4;1.6"), red_crosses)),
            Rule("Proposed", is_one_of("status", "proposed"), line(PROPOSED, 0.8, "4;1.5;0.8;1.5")),
            Rule("Abandoned, may hold water", is_one_of("status", "abandoned"),
                 line_of(line_layer(GONE, 0.5, "1.2;1.2"), crosses)),
            Rule("Removed", is_one_of("status", "removed"), line(PALE, 0.3, "0.3;1.5", "round")),
            Rule("Role not known", "ELSE", line(NOT_KNOWN, 0.35, "0.8;0.8")),
        ),
        (
            Label(f"{_NAMED} || {size}", is_one_of("role", *_BIG), 25_000, 8.5, PIPE, True, 8, "along"),
            Label(_NAMED, f"not {is_one_of('role', *_BIG)}", 3_000, 7, PIPE, priority=2, where="along"),
        ),
    )


def style_structures(layer: QgsVectorLayer) -> None:
    """One simple shape for each kind."""
    apart = "coalesce(\"evidence\", '') = 'disproved'"
    shapes = {
        "outlet": ("Outlet", ("triangle", 5.0, PIPE, WHITE, 0.4, 180), ("circle", 1.0, WHITE, WHITE)),
        "surface_inlet": ("Surface inlet", ("circle", 3.6, WHITE, INK, 0.4), ("cross", 2.6, INK, INK, 0.4)),
        "blind_inlet": ("Blind inlet", ("square", 3.4, WHITE, INK, 0.4), ("cross2", 2.4, INK, INK, 0.3)),
        "junction_box": ("Junction box", ("square", 3.2, INK, WHITE)),
        "cleanout": ("Cleanout", ("circle", 3.4, WHITE, INK, 0.4), ("circle", 1.0, INK, INK)),
        "breather": ("Breather", ("pentagon", 3.2, WHITE, INK, 0.4)),
        "relief_well": ("Relief well", ("circle", 3.8, WHITE, INK, 0.4), ("triangle", 2.2, INK, INK)),
        "control_structure": ("Control structure", ("diamond", 4.4, WHITE, INK, 0.5), ("line", 2.6, INK, INK, 0.6)),
        "stub_end": ("Stub end", ("half_square", 2.8, INK, INK)),
        "constant_inflow": ("Constant inflow", ("star", 5.0, WHITE, PIPE, 0.5), ("circle", 1.2, PIPE, PIPE)),
    }
    no_joint = (("circle", 2.8, WHITE, BAD, 0.4), ("cross2", 1.8, BAD, BAD, 0.4))
    always_named = is_one_of("kind", "outlet", "constant_inflow", "control_structure")
    show(
        layer,
        (
            Rule("Joint", f"\"kind\" = 'joint' and not {apart}", marker("circle", 1.8, INK, WHITE)),
            Rule("No joint here", f"\"kind\" = 'joint' and {apart}", _stacked(*no_joint)),
            *(Rule(label, is_one_of("kind", kind), _stacked(*shape)) for kind, (label, *shape) in shapes.items()),
            Rule("Other", "ELSE", marker("circle", 2.4, PALE, INK)),
        ),
        (
            Label('coalesce("name", "structure_id")', always_named, 25_000, 8.5, bold=True, priority=9, where="around"),
            Label('coalesce("name", represent_value("kind"))', f"not ({always_named} or \"kind\" = 'joint')", 4_000,
                  7.5, priority=4, where="around"),
        ),
    )


def _stacked(*shapes: tuple) -> QgsMarkerSymbol:
    return marker_of(*(marker_layer(*shape) for shape in shapes))


def style_shots(layer: QgsVectorLayer) -> None:
    """Shots with their elevation."""
    elevation = Label('format_number("elevation", 2)', "", 2_500, 7, priority=3, where="around")
    show(layer, (Rule("Shot", "", marker("triangle", 2.2, WHITE, INK, 0.4)),), (elevation,))


def style_repairs(layer: QgsVectorLayer) -> None:
    """Repairs with their date."""
    done = _stacked(("square", 3.4, WHITE, INK, 0.4), ("cross", 2.4, INK, INK, 0.6))
    date = Label("format_date(\"done_on\", 'yyyy-MM-dd')", "", 4_000, 7, where="around")
    show(layer, (Rule("Repair", "", done),), (date,))
