"""Small makers of symbols, labels and rules, so that the style modules read as tables.

All sizes are millimetres on paper. Colours carry meaning only together with a pattern, a shape or a
label: everything must be told apart on a grey print.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from qgis.core import (
    QgsFillSymbol,
    QgsLineSymbol,
    QgsMapLayer,
    QgsMarkerLineSymbolLayer,
    QgsMarkerSymbol,
    QgsPalLayerSettings,
    QgsProperty,
    QgsRuleBasedLabeling,
    QgsRuleBasedRenderer,
    QgsSimpleLineSymbolLayer,
    QgsSimpleMarkerSymbolLayer,
    QgsSymbol,
    QgsSymbolLayer,
    QgsTextBufferSettings,
    QgsTextFormat,
    QgsVectorLayer,
)
from qgis.PyQt.QtGui import QColor, QFont

INK = "#22303c"
PIPE = "#14507a"
PIPE_LIGHT = "#3b7ea1"
PROPOSED = "#6d4396"
GONE = "#5f5f5f"
PALE = "#9a9a9a"
GOOD = "#1d6b52"
BAD = "#b3261e"
DOUBT = "#8f5a00"
NOT_KNOWN = "#4d4d4d"
LEAF = "#3f6b2a"
WHITE = "#ffffff"


@dataclass(frozen=True)
class Label:
    """A text beside features that match `filter`, down to the scale 1:`smallest` (0: always).

    Numbers of `priority` from 0 to 10: what is left out first where there is no room. Lines that follow each
    other and read the same share one label if `shared`.
    """

    text: str
    filter: str = ""
    smallest: int = 0
    size: float = 8.0
    colour: str = INK
    bold: bool = False
    priority: int = 5
    where: str = "auto"
    shared: bool = False


@dataclass(frozen=True)
class Rule:
    """A symbol for features that match `filter`; "" takes all, "ELSE" what no other rule took."""

    label: str
    filter: str
    symbol: QgsSymbol


def line_of(*strokes: QgsSymbolLayer) -> QgsLineSymbol:
    """A line symbol of several strokes, the lowest first."""
    return _stacked(QgsLineSymbol(), strokes)


def marker_of(*shapes: QgsSymbolLayer) -> QgsMarkerSymbol:
    """A marker symbol of several shapes, the lowest first."""
    return _stacked(QgsMarkerSymbol(), shapes)


def _stacked(symbol: QgsSymbol, layers: Iterable[QgsSymbolLayer]) -> QgsSymbol:
    """Layers are appended one by one: a list of them handed to the constructor crashes QGIS 3.22."""
    while symbol.symbolLayerCount():
        symbol.deleteSymbolLayer(0)
    for layer in layers:
        symbol.appendSymbolLayer(layer)
    return symbol


def line(colour: str, width: float, dash: str = "", cap: str = "flat") -> QgsLineSymbol:
    """A line; `dash` is "on;off;..." in millimetres."""
    return line_of(line_layer(colour, width, dash, cap))


def line_layer(
    colour: str, width: float, dash: str = "", cap: str = "flat", offset: float = 0.0, thin_where: str = ""
) -> QgsSymbolLayer:
    """One stroke of a line symbol, half as wide where the expression `thin_where` is true."""
    properties = {"line_color": colour, "line_width": str(width), "capstyle": cap, "joinstyle": "round",
                  "offset": str(offset)}
    if dash:
        properties.update({"use_custom_dash": "1", "customdash": dash, "customdash_unit": "MM"})
    stroke = QgsSimpleLineSymbolLayer.create(properties)
    if thin_where:
        thinner = QgsProperty.fromExpression(f"if({thin_where}, {width / 2}, {width})")
        stroke.setDataDefinedProperty(QgsSymbolLayer.Property.PropertyStrokeWidth, thinner)
    return stroke


def marks(marker: QgsMarkerSymbol, every: float = 0.0) -> QgsMarkerLineSymbolLayer:
    """Markers along a line, `every` so many millimetres or (0) one in the middle."""
    properties = {"placement": "interval", "interval": str(every)} if every else {"placement": "centralpoint"}
    layer = QgsMarkerLineSymbolLayer.create(properties)
    layer.setSubSymbol(marker)
    return layer


def marker(
    shape: str, size: float, fill: str, outline: str = INK, stroke: float = 0.3, angle: float = 0.0
) -> QgsMarkerSymbol:
    """A marker of one shape."""
    return marker_of(marker_layer(shape, size, fill, outline, stroke, angle))


def marker_layer(
    shape: str, size: float, fill: str, outline: str = INK, stroke: float = 0.3, angle: float = 0.0
) -> QgsSymbolLayer:
    """One shape of a marker symbol."""
    return QgsSimpleMarkerSymbolLayer.create(
        {"name": shape, "size": str(size), "color": fill, "outline_color": outline, "outline_width": str(stroke),
         "angle": str(angle)}
    )


def flow_arrow(colour: str, size: float, known: str, thin_where: str) -> QgsMarkerLineSymbolLayer:
    """An arrowhead in the middle of a line drawn in flow direction; none where the expression `known` is false."""
    head = marker_layer("filled_arrowhead", size, colour, colour, 0.2)
    head.setDataDefinedProperty(QgsSymbolLayer.Property.PropertyLayerEnabled, QgsProperty.fromExpression(known))
    smaller = QgsProperty.fromExpression(f"if({thin_where}, {size * 0.6}, {size})")
    head.setDataDefinedProperty(QgsSymbolLayer.Property.PropertySize, smaller)
    return marks(marker_of(head))


def fill(colour: str, outline: str, width: float = 0.3, style: str = "solid", dash: str = "solid") -> QgsFillSymbol:
    """An area; `style` is solid, no, b_diagonal, f_diagonal, horizontal, dense6 ..."""
    return QgsFillSymbol.createSimple(
        {"color": colour, "style": style, "outline_color": outline, "outline_width": str(width), "outline_style": dash}
    )


def is_one_of(field: str, *values: str) -> str:
    """Expression: the field holds one of the values."""
    listed = ", ".join(f"'{value}'" for value in values)
    return f'"{field}" in ({listed})'


def settle_profile(layer: QgsMapLayer) -> None:
    """Draw the layer in one colour in QGIS's own elevation profiles (from 3.26 on), which else draw lots for it."""
    profile = layer.elevationProperties()
    if hasattr(profile, "setProfileLineSymbol"):
        profile.setProfileLineSymbol(line(PIPE, 0.6))
    if hasattr(profile, "setProfileFillSymbol"):
        profile.setProfileFillSymbol(fill(PIPE_LIGHT, PIPE))
    if hasattr(profile, "setProfileMarkerSymbol"):
        profile.setProfileMarkerSymbol(marker("circle", 2.0, PIPE))


def show(layer: QgsVectorLayer, rules: Iterable[Rule], labels: Iterable[Label] = ()) -> None:
    """Give `layer` its rules and labels. Rule keys are fixed, so that two runs write the same file."""
    root = QgsRuleBasedRenderer.Rule(None)
    for number, rule in enumerate(rules):
        drawn = QgsRuleBasedRenderer.Rule(rule.symbol, label=rule.label)
        if rule.filter == "ELSE":
            drawn.setIsElse(True)
        else:
            drawn.setFilterExpression(rule.filter)
        drawn.setRuleKey(f"rule_{number}")
        root.appendChild(drawn)
    root.setRuleKey("rules")
    layer.setRenderer(QgsRuleBasedRenderer(root))
    settle_profile(layer)
    _show_labels(layer, tuple(labels))


def _show_labels(layer: QgsVectorLayer, labels: tuple[Label, ...]) -> None:
    if not labels:
        layer.setLabelsEnabled(False)
        return
    root = QgsRuleBasedLabeling.Rule(None)
    root.setRuleKey("labels")
    for number, label in enumerate(labels):
        rule = QgsRuleBasedLabeling.Rule(_settings(label), 0, label.smallest, label.filter)
        rule.setRuleKey(f"label_{number}")
        root.appendChild(rule)
    layer.setLabeling(QgsRuleBasedLabeling(root))
    layer.setLabelsEnabled(True)


def _settings(label: Label) -> QgsPalLayerSettings:
    settings = QgsPalLayerSettings()
    settings.fieldName, settings.isExpression = label.text, True
    settings.priority = label.priority
    places = {
        "along": QgsPalLayerSettings.Placement.Line,
        "around": QgsPalLayerSettings.Placement.AroundPoint,
        "inside": QgsPalLayerSettings.Placement.Horizontal,
    }
    if label.where in places:
        settings.placement = places[label.where]
    if label.shared:
        merged = settings.lineSettings()
        merged.setMergeLines(True)
        settings.setLineSettings(merged)
    settings.dist = 2.2 if label.where == "around" else 1.2
    text = QgsTextFormat()
    font = QFont("Sans Serif")  # what a desktop takes it for; a named font would be missing somewhere
    font.setStyleHint(QFont.StyleHint.SansSerif)
    font.setBold(label.bold)
    text.setFont(font)
    text.setSize(label.size)
    text.setColor(QColor(label.colour))
    halo = QgsTextBufferSettings()
    halo.setEnabled(True)
    halo.setSize(1.3)  # closes the gaps between words, where lines would look like hyphens
    halo.setColor(QColor(WHITE))
    text.setBuffer(halo)
    settings.setFormat(text)
    return settings
