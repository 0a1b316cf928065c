"""How the results of comparing a layout look: what can be taken is solid, what is asked about is dashed and on top."""

from __future__ import annotations

from qgis.core import QgsEditorWidgetSetup, QgsVectorLayer

from .symbols import (
    BAD,
    DOUBT,
    GONE,
    INK,
    PALE,
    PIPE,
    PROPOSED,
    WHITE,
    Label,
    Rule,
    fill,
    line,
    line_layer,
    line_of,
    marker,
    marker_layer,
    marker_of,
    marks,
    show,
)

_NAMED = 'coalesce("name", "drain_id")'
_ACTIONS = ("take", "join", "replace", "keep", "ask")
_ASKED = "coalesce(\"action\", 'ask') not in ('take', 'join', 'replace', 'keep')"


def style_decisions(layer: QgsVectorLayer) -> None:
    """Lines of a layout by what is decided; the column action is a list to choose from."""
    joint = marks(marker_of(marker_layer("circle", 2.6, WHITE, PIPE, 0.5)))
    show(
        layer,
        (
            Rule("Leave out, the archive has it", "\"action\" = 'keep'", line(GONE, 0.8, "0.9;1.3")),
            Rule("Take", "\"action\" = 'take'", line(PIPE, 1.0)),
            Rule("Take and keep the joint", "\"action\" = 'join'", line_of(line_layer(PIPE, 1.0), joint)),
            Rule("Redraw the archive's drain", "\"action\" = 'replace'", line(PROPOSED, 1.2, "6;1")),
            Rule("Ask first", _ASKED, line(BAD, 1.2, "2.4;1")),
        ),
        (
            Label(f"{_NAMED} || ': ' || \"title\"", _ASKED, 15_000, 8.5, BAD, True, 9, "along"),
            Label(_NAMED, "\"action\" in ('take', 'join', 'replace')", 8_000, 8, PIPE, False, 6, "along"),
            Label(_NAMED, "\"action\" = 'keep'", 6_000, 7.5, GONE, False, 3, "along"),
        ),
    )
    chosen = {"map": [{action: action} for action in _ACTIONS]}
    layer.setEditorWidgetSetup(layer.fields().lookupField("action"), QgsEditorWidgetSetup("ValueMap", chosen))


def style_places(layer: QgsVectorLayer) -> None:
    ring, cross = marker_layer("circle", 4.4, WHITE, BAD, 0.6), marker_layer("cross", 4.4, BAD, BAD, 0.4)
    show(
        layer,
        (
            Rule("Crossing without a joint", "\"class\" = 'crossing'", marker("cross2", 3.6, BAD, BAD, 0.7)),
            Rule("Proposed joint", "\"class\" = 'near-joint'", marker("circle", 3.4, WHITE, PROPOSED, 0.6)),
            Rule("Property line", "\"class\" = 'property-crossing'", marker("diamond", 4.0, "#ffe0a3", INK, 0.4)),
            Rule("Other", "coalesce(\"class\", '') not in ('crossing', 'near-joint', 'property-crossing')",
                 marker_of(ring, cross)),
        ),
        (Label('wordwrap("detail", 34)', "\"class\" <> 'crossing'", 6_000, 8, INK, False, 6, "around"),),
    )


def style_outlet_changes(layer: QgsVectorLayer) -> None:
    """Land that changes its outlet; with all of the layout hatched one way, with what is proposed the other way."""
    show(
        layer,
        (
            Rule("With all of the layout", "\"accepting\" = 'all'", fill(DOUBT, DOUBT, 0.3, "b_diagonal", "dash")),
            Rule("With what is proposed", "\"accepting\" = 'proposed'", fill(BAD, BAD, 0.5, "f_diagonal")),
        ),
        (Label('wordwrap("detail", 34)', "", 15_000, 8, INK, False, 6, "inside"),),
    )


def style_outlets(layer: QgsVectorLayer) -> None:
    text = "\"name\" || '\\n' || format_number(\"area_before\", 2) || ' -> ' || format_number(\"area_all\", 2)"
    show(
        layer,
        (Rule("Outlet", "", marker("triangle", 4.0, WHITE, INK, 0.5)),),
        (Label(text, "", 25_000, 8, INK, True, 8, "around"),),
    )


def style_layout_lines(layer: QgsVectorLayer) -> None:
    """Lines of layouts as they were brought, thin, to be laid over the drains."""
    show(
        layer,
        (
            Rule("Was left out", '"done" is null', line(BAD, 0.5, "1.6;1.2")),
            Rule("Became a drain, or redrew one", '"done" is not null', line(PALE, 0.5, "0.8;1.2")),
        ),
        (Label('coalesce("brought_as", "drain_id")', '"done" is null', 6_000, 7.5, BAD, False, 3, "along"),),
    )
