"""How results look. Unknown and "cannot tell" have patterns of their own and are never drawn as good."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from qgis.core import QgsMarkerSymbol, QgsSymbol, QgsVectorLayer

from .layout_styles import style_decisions, style_outlet_changes, style_outlets, style_places
from .symbols import (
    BAD,
    DOUBT,
    GOOD,
    INK,
    LEAF,
    NOT_KNOWN,
    PALE,
    PIPE,
    PROPOSED,
    WHITE,
    Label,
    Rule,
    fill,
    flow_arrow,
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

# pieces are drawn in flow direction; where nobody knows it, whether it is against the drawing is unknown too
_FLOW_KNOWN = '"against_drawing" is not null'
_THIN = "coalesce(\"role\", 'lateral') = 'lateral'"
# the words people read on the map, short
_CALL_WORDS = (
    "case when \"grade_call\" = 'reverse' then 'runs backwards' when \"grade_call\" = 'cannot_tell' then 'cannot tell' "
    "else 'unknown' end"
)


def _call_symbols(thin: str = "") -> dict[str, QgsSymbol]:
    """One line symbol for each call of a grade: solid, barred, dash-dot, dotted.

    With `thin`, an expression that is true for small pipes, they get arrows of flow too.
    """
    strokes = {
        "falls": [line_layer(GOOD, 1.0, thin_where=thin)],
        "reverse": [line_layer(BAD, 1.6, thin_where=thin), marks(marker("line", 3.6, BAD, BAD, 0.7), 4)],
        "cannot_tell": [line_layer(DOUBT, 1.4, "3.5;1.2;0.8;1.2", thin_where=thin)],
        "unknown": [line_layer(NOT_KNOWN, 1.2, "0.9;1.3", thin_where=thin)],
    }
    colours = {"falls": GOOD, "reverse": BAD, "cannot_tell": DOUBT, "unknown": NOT_KNOWN}
    for call, layers in strokes.items():
        if thin:
            layers.append(flow_arrow(colours[call], 3.4, _FLOW_KNOWN, thin))
    return {call: line_of(*layers) for call, layers in strokes.items()}


def _pipes(layer: QgsVectorLayer) -> None:
    symbols = _call_symbols(thin=_THIN)
    named = 'coalesce("name", "drain_id")'
    said = f"{named} || ': ' || {_CALL_WORDS}"

    def called(call: str) -> str:
        return is_one_of("grade_call", call)

    unknown = "coalesce(\"grade_call\", 'unknown') not in ('falls', 'reverse', 'cannot_tell')"
    at_point = line_of(line_layer(INK, 2.6), line_layer("#ffd54a", 1.6))
    show(
        layer,
        (
            Rule("At the point", '"at_point"', at_point),
            Rule("Falls toward the outlet", called("falls"), symbols["falls"]),
            Rule("Runs backwards", called("reverse"), symbols["reverse"]),
            Rule("Cannot tell", called("cannot_tell"), symbols["cannot_tell"]),
            Rule("Unknown", unknown, symbols["unknown"]),
        ),
        (
            Label(said, called("reverse"), 25_000, 8.5, BAD, True, 10, "along", True),
            Label(said, called("cannot_tell"), 12_000, 8, DOUBT, False, 7, "along", True),
            Label(said, unknown, 12_000, 8, NOT_KNOWN, False, 6, "along", True),
            Label(named, called("falls"), 3_000, 7, GOOD, False, 2, "along", True),
        ),
    )


def _ranked_pipes(layer: QgsVectorLayer) -> None:
    """The first ten stand out, with their rank and what a plug would cost."""
    first = '"rank" <= 10'
    open_way = f"\"other_way\" and not coalesce({first}, false)"
    said = '"rank" || \'. \' || coalesce("name", "drain_id") || \': \' || format_number("area_lost", 1)'
    show(
        layer,
        (
            Rule("The first ten", first, line_of(line_layer(WHITE, 2.8), line_layer(BAD, 2.0))),
            Rule("Another way is open", open_way, line(GOOD, 0.7, "4;1.2;0.8;1.2")),
            Rule("Flow not known, no rank", '"rank" is null', line(NOT_KNOWN, 1.0, "0.9;1.3")),
            Rule("Others", "ELSE", line_of(line_layer(PIPE, 1.0, thin_where=_THIN))),
        ),
        (
            Label(said, first, 50_000, 8.5, BAD, True, 10, "inside"),
            Label(said, f"not coalesce({first}, false)", 5_000, 7.5, PIPE, False, 3, "along"),
        ),
    )


def _probable(layer: QgsVectorLayer) -> None:
    """Dashed, the surer the bolder, with how sure and how much land."""
    said = '"confidence" || \', \' || format_number("area", 1) || \' at stake\''
    show(
        layer,
        (
            Rule("Likely", "\"confidence\" = 'likely'", line(PROPOSED, 1.4, "4;1.6")),
            Rule("Possible", "\"confidence\" = 'possible'", line(PROPOSED, 0.9, "2.4;2")),
            Rule("A guess", "ELSE", line(PROPOSED, 0.5, "0.8;1.6")),
        ),
        (Label(said, "", 25_000, 8.5, PROPOSED, True, 9, "along"),),
    )


def _doubts(layer: QgsVectorLayer) -> None:
    """The first ten by the land that depends on them, numbered; a shape for what settles each."""
    first = '"rank" <= 10'
    shapes = {"probe": ("Probe", "triangle"), "level shot": ("Level shot", "square")}
    rules = [
        Rule(f"{name}: {size}", f"\"settle\" = '{settle}' and {test}", marker(shape, mm, colour, INK, 0.4))
        for settle, (name, shape) in shapes.items()
        for size, test, mm, colour in (
            ("one of the first ten", first, 5.0, "#ffe0a3"), ("others", f"not {first}", 2.6, WHITE),
        )
    ]
    show(
        layer,
        (*rules, Rule("Look", "ELSE", marker("circle", 2.6, WHITE, INK, 0.4))),
        (Label('"rank" || \'. \' || wordwrap("doubt", 34)', first, 25_000, 8.5, INK, True, 9, "around"),),
    )


def _line_findings(layer: QgsVectorLayer) -> None:
    calls = _call_symbols()
    crosses = marker("cross2", 2.4, LEAF, LEAF, 0.5)
    roots = line_of(line_layer(LEAF, 1.4), marks(crosses, 4))
    perhaps_roots = line_of(line_layer(LEAF, 0.6, "2;1.6"), marks(crosses.clone(), 8))
    flat = line_of(line_layer(DOUBT, 0.5, offset=0.8), line_layer(DOUBT, 0.5, offset=-0.8))
    show(
        layer,
        _open_first(
            Rule("Near trees", f"{_TREES} and \"call\" = 'found'", roots),
            Rule("Near trees, cannot tell whether roots get in", f"{_TREES} and \"call\" <> 'found'", perhaps_roots),
            Rule("Too flat", _FLAT, flat),
            Rule("Runs backwards", f"\"call\" = 'reverse' and not {_FLAT}", calls["reverse"]),
            Rule("Cannot tell", f"\"call\" = 'cannot_tell' and not {_TREES}", calls["cannot_tell"]),
            Rule("Unknown", f"\"call\" = 'unknown' and not {_TREES}", calls["unknown"]),
            Rule("Other, serious", _other("serious"), line(BAD, 1.1, "6;1")),
            Rule("Other, in doubt", _other("doubt"), line(DOUBT, 0.9, "2.4;1")),
            Rule("Other, note", _other("note"), line(INK, 0.6, "1.2;1.2")),
            accepted=line_of(line_layer(PALE, 0.3), marks(marker("square", 1.8, WHITE, PALE, 0.3), 12)),
        ),
        _open_labels(
            Label('"title"', "\"severity\" = 'serious'", 15_000, 8.5, BAD, True, 9, "along"),
            Label('"title"', "\"severity\" = 'doubt'", 8_000, 8, DOUBT, False, 6, "along"),
            Label('"title"', "coalesce(\"severity\", 'note') = 'note'", 4_000, 7.5, INK, False, 3, "along"),
        ),
    )


_OPEN = '"accepted" is null'
_TREES = "coalesce(\"check\" = 'near-trees', false)"
_FLAT = "coalesce(\"check\" = 'flat-grade' and \"call\" in ('found', 'reverse'), false)"


def _other(severity: str) -> str:
    """Findings without a pattern of their own; a severity nobody knows counts as a note."""
    test = f"\"severity\" = '{severity}'"
    if severity == "note":
        test = "coalesce(\"severity\", '') not in ('serious', 'doubt')"
    return f"{test} and coalesce(\"call\", 'found') = 'found' and not {_TREES} and not {_FLAT}"


def _open_first(*rules: Rule, accepted: QgsSymbol) -> tuple[Rule, ...]:
    """Rules for open findings alone, and one for those that somebody lets stand: faint, of a shape of its own."""
    alone = (replace(rule, filter=f"{_OPEN} and ({rule.filter})") for rule in rules)
    return (*alone, Rule("Accepted, with reason", f"not ({_OPEN})", accepted))


def _open_labels(*labels: Label) -> tuple[Label, ...]:
    return tuple(replace(label, filter=f"{_OPEN} and ({label.filter})") for label in labels)


def _point_findings(layer: QgsVectorLayer) -> None:
    ring, cross = marker_layer("circle", 4.4, WHITE, PROPOSED, 0.6), marker_layer("cross", 4.4, PROPOSED, PROPOSED, 0.4)
    proposed = marker_of(ring, cross)
    title = "wordwrap(\"title\", 28)"
    no_joint = "coalesce(\"check\", '') <> 'proposed-joint'"
    show(
        layer,
        _open_first(
            Rule("Proposed joint", "\"check\" = 'proposed-joint'", proposed),
            Rule("Serious", f"\"severity\" = 'serious' and {no_joint}", _sign("triangle", 6.4, BAD, WHITE)),
            Rule("In doubt", f"\"severity\" = 'doubt' and {no_joint}", _sign("diamond", 5.6, "#ffe0a3", INK)),
            Rule("Note", f"coalesce(\"severity\", '') not in ('serious', 'doubt') and {no_joint}",
                 _sign("circle", 4.0, WHITE, INK)),
            accepted=marker("square", 2.6, WHITE, PALE, 0.3),
        ),
        _open_labels(
            Label(title, "\"severity\" = 'serious'", 15_000, 8.5, BAD, True, 10, "around"),
            Label(title, "\"severity\" = 'doubt'", 8_000, 8, DOUBT, False, 7, "around"),
            Label(title, "coalesce(\"severity\", 'note') = 'note'", 4_000, 7.5, INK, False, 4, "around"),
        ),
    )


def _sign(shape: str, size: float, colour: str, mark: str) -> QgsMarkerSymbol:
    """A shape with an upright stroke in it: look here."""
    return marker_of(marker_layer(shape, size, colour, INK, 0.4), marker_layer("line", size * 0.4, mark, mark, 0.7))


def _nodes(layer: QgsVectorLayer) -> None:
    show(layer, (Rule("Node", "", marker("circle", 1.4, WHITE, INK, 0.3)),))


def _land_above(layer: QgsVectorLayer) -> None:
    show(layer, (Rule("Land above", "", fill(PIPE, PIPE, 0.2, "dense6")),))


def _stations(layer: QgsVectorLayer) -> None:
    """Stations of a grade line or reroute with what the crew needs: station and cut."""
    text = "\"label\" || coalesce('\\ncut ' || format_number(\"cut\", 2), '')"
    show(
        layer,
        (Rule("Station", "", marker("line", 3.0, INK, INK, 0.5)),),
        (Label(text, "", 4_000, 7.5, INK, False, 6, "around"),),
    )


def _left_behind(layer: QgsVectorLayer) -> None:
    show(
        layer,
        (
            Rule("Has no way out without the old run", 'not coalesce("is_stub", false)', line(BAD, 1.4, "3;1.4")),
            Rule("Only the stub below the new pipe", '"is_stub"', line(DOUBT, 1.4, "1;1.2")),
        ),
        (Label('coalesce("name", "drain_id")', "", 6_000, 8, INK, False, 6, "along"),),
    )


def _as_saved(layer: QgsVectorLayer) -> None:
    """A layer of an archive, as its file says."""
    layer.loadDefaultStyle()


RESULT_STYLES: dict[str, Callable[[QgsVectorLayer], None]] = {
    "PIPES": _pipes,
    "RANKED_PIPES": _ranked_pipes,
    "PROBABLE": _probable,
    "DOUBTS": _doubts,
    "NODES": _nodes,
    "LINE_FINDINGS": _line_findings,
    "POINT_FINDINGS": _point_findings,
    "LAND_ABOVE": _land_above,
    "STATIONS": _stations,
    "LEFT_BEHIND": _left_behind,
    "DECISIONS": style_decisions,
    "PLACES": style_places,
    "OUTLET_CHANGES": style_outlet_changes,
    "OUTLETS": style_outlets,
    "AS_SAVED": _as_saved,
}
