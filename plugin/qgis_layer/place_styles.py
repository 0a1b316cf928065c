"""Symbols of land, trees and landmarks, and of what people reported and read there."""

from __future__ import annotations

from qgis.core import QgsLineSymbol, QgsMarkerSymbol, QgsVectorLayer

from .symbols import (
    BAD,
    DOUBT,
    INK,
    LEAF,
    PALE,
    PIPE,
    PIPE_LIGHT,
    WHITE,
    Label,
    Rule,
    fill,
    is_one_of,
    line_layer,
    line_of,
    marker,
    marker_layer,
    marker_of,
    marks,
    show,
)

_EDGE = "#8b8674"
_LEAF_LIGHT = "#c9dcb9"
_THIRSTY = is_one_of("thirst", "high")
_TREE_NAME = Label('"name"', "", 8_000, 7.5, LEAF, priority=4)


def style_land(layer: QgsVectorLayer) -> None:
    """Faint areas, so that pipes stay in front."""
    of_whom = "coalesce(\"name\", \"land_id\") || coalesce('\\n' || \"owner\", '')"
    show(
        layer,
        (
            Rule("Field", "coalesce(\"use\", 'field') = 'field'", fill("#f6f4ea", _EDGE)),
            Rule("Road", is_one_of("use", "road"), fill("#d9d9d6", "#7d7d7d")),
            Rule("Lot", is_one_of("use", "lot"), fill("#b9ad97", _EDGE, 0.4, "b_diagonal")),
            Rule("Pond", is_one_of("use", "pond"), fill("#7fa3b8", PIPE_LIGHT, 0.4, "horizontal")),
            Rule("Other", "ELSE", fill(WHITE, _EDGE, 0.3, "no", "dash")),
        ),
        (
            Label(of_whom, "coalesce(\"use\", '') <> 'road'", 25_000, 8, "#5c5643", priority=3, where="inside"),
            Label('coalesce("name", "land_id")', is_one_of("use", "road"), 25_000, 7.5, priority=3, where="inside"),
        ),
    )


def _thirsty_crown(size: float) -> QgsMarkerSymbol:
    """A ring with a filled core; other trees are a pale disc."""
    return marker_of(
        marker_layer("circle", size, WHITE, LEAF, 0.45), marker_layer("circle", size * 0.6, LEAF, LEAF, 0.1)
    )


def style_trees(layer: QgsVectorLayer) -> None:
    """Single trees by thirst."""
    ordinary = marker("circle", 4.0, _LEAF_LIGHT, LEAF, 0.5)
    show(layer, (Rule("Thirsty tree", _THIRSTY, _thirsty_crown(5.0)), Rule("Tree", "ELSE", ordinary)), (_TREE_NAME,))


def style_tree_rows(layer: QgsVectorLayer) -> None:
    """Rows of crowns by thirst."""

    def row(crown: QgsMarkerSymbol) -> QgsLineSymbol:
        return line_of(line_layer(LEAF, 0.3), marks(crown, 3.2))

    ordinary = row(marker("circle", 2.6, _LEAF_LIGHT, LEAF, 0.4))
    show(layer, (Rule("Thirsty row", _THIRSTY, row(_thirsty_crown(3.0))), Rule("Row", "ELSE", ordinary)), (_TREE_NAME,))


def style_woods(layer: QgsVectorLayer) -> None:
    """Woods by thirst, the thirsty ones denser."""
    thirsty, ordinary = fill(LEAF, LEAF, 0.5, "dense5"), fill(LEAF, LEAF, 0.4, "dense6")
    show(layer, (Rule("Thirsty wood", _THIRSTY, thirsty), Rule("Wood", "ELSE", ordinary)), (_TREE_NAME,))


def style_landmarks(layer: QgsVectorLayer) -> None:
    """Filled: will still stand in twenty years."""
    show(
        layer,
        (
            Rule("Durable", '"durable"', marker("square", 2.4, INK, WHITE, 0.3, 45)),
            Rule("Not durable", 'not coalesce("durable", false)', marker("square", 2.4, WHITE, INK, 0.4, 45)),
        ),
        (Label('coalesce("name", "landmark_id")', "", 4_000, 7.5, where="around"),),
    )


def style_calls(layer: QgsVectorLayer) -> None:
    """Open calls stand out, closed ones step back."""
    is_open = "coalesce(\"status\", 'open') = 'open'"
    words = "wordwrap('Call: ' || coalesce(\"about\", \"caller\", \"call_id\"), 26)"
    show(
        layer,
        (
            Rule("Open", is_open, marker("octagon", 5.2, "#f2c14e", INK, 0.5)),
            Rule("Dug", is_one_of("status", "dug"), marker("octagon", 4.4, "#e9e2cf", INK, 0.4)),
            Rule("Closed", "ELSE", marker("octagon", 3.2, WHITE, PALE, 0.4)),
        ),
        (Label(words, "coalesce(\"status\", 'open') <> 'closed'", 6_000, 7.5, priority=6, where="around"),),
    )


def style_readings(layer: QgsVectorLayer) -> None:
    """Filled: water where none should be; hollow: none, or water that passes."""
    wet = is_one_of("kind", "wet_ground", "standing", "boil")
    dry = is_one_of("kind", "dry_ground", "dry_hole", "running")
    harm = is_one_of("kind", "roots", "collapsed", "burrow")
    show(
        layer,
        (
            Rule("Wet, standing, boil", wet, marker("pentagon", 3.4, PIPE, WHITE)),
            Rule("Dry, running", dry, marker("pentagon", 3.2, WHITE, PIPE, 0.5)),
            Rule("Roots, collapse, burrow", harm, marker("cross_fill", 3.6, BAD, WHITE)),
            Rule("Flow at the outlet", is_one_of("kind", "outlet_flow"), marker("arrowhead", 3.4, PIPE, PIPE, 0.6, 90)),
            Rule("Probe hit", is_one_of("kind", "probe_hit"), marker("circle", 2.2, DOUBT, WHITE)),
            Rule("Probe missed", "ELSE", marker("circle", 2.2, WHITE, DOUBT, 0.4)),
        ),
        (Label('represent_value("kind")', "", 4_000, 7.5, PIPE, where="around"),),
    )
