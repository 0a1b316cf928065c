"""Clashes in words people read."""

from __future__ import annotations

from ..schema import Layer
from ..schema.history import GEOMETRY
from ..units import Units
from .three_way import WHOLE_ROW, Clash


def heading(layer: Layer, key: str) -> str:
    """'Drain F1-01'."""
    return f"{layer.one[:1].upper()}{layer.one[1:]} {key}"


def field_words(layer: Layer, name: str, units: Units) -> str:
    """'Inside diameter (in)'; 'its place' for the geometry."""
    if name == GEOMETRY:
        return "its place"
    known = {field.name: field for field in layer.fields}
    return known[name].alias_in(units) if name in known else name


def value_words(layer: Layer, name: str, value: object) -> str:
    """A value as forms show it."""
    if value is None:
        return "empty"
    if name == GEOMETRY:
        return "moved or reshaped"
    known = {field.name: field for field in layer.fields}
    choices = known[name].choices if name in known else {}
    if isinstance(value, float):
        return f"{value:.10g}"
    return choices.get(str(value), str(value))


def clash_words(clash: Clash, layer: Layer, units: Units, who: str, mine: str = "you") -> str:
    """What happened to one field or row, in one clause: 'Inside diameter (in): was 4; Anna wrote 6, you 8'."""
    who = who or "somebody else"
    if clash.field == WHOLE_ROW:
        theirs, own = ("deleted", "changed") if clash.theirs is None else ("changed", "deleted")
        return f"{who} {theirs} it, {mine} {own} it"
    name = field_words(layer, clash.field, units)
    if clash.field == GEOMETRY:
        return f"{name}: {who} moved it, and so did {mine}"
    was, theirs, own = (value_words(layer, clash.field, value) for value in (clash.base, clash.theirs, clash.mine))
    return f"{name}: was {was}; {who} wrote {theirs}, {mine} {own}"
