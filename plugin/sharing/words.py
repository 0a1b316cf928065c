"""Clashes, and what came back from the field, in words people read."""

from __future__ import annotations

from collections.abc import Iterator

from ..schema import Layer
from ..schema import layer as schema_layer
from ..schema.history import GEOMETRY
from ..units import Units
from .bring_back import Change, Plan
from .field_copy import NOT_COMPARED
from .three_way import DELETE, INSERT, UPDATE, WHOLE_ROW, Clash


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


def plan_rows(plan: Plan, written: bool) -> Iterator[tuple[str, ...]]:
    """What came back from the field, for a table: layer, key, what, field, its value when the copy was taken, in the
    archive now and in the copy, and what becomes of it."""
    outcome = "written" if written else "can be written"
    for change in plan.changes:
        declared = schema_layer(change.layer)
        if change.action != UPDATE:
            what = {INSERT: "new", DELETE: "deleted"}[change.action]
            yield change.layer, change.key, what, "", "", "", "", outcome
            continue
        for name, value in change.values.items():
            if name not in NOT_COMPARED and not _is_decided(plan, change, name):
                now = _shown(declared, name, (change.theirs or {}).get(name))
                yield (change.layer, change.key, "changed", field_name(declared, name), now, now,
                       _shown(declared, name, value), outcome)
    for decision in plan.decisions:
        declared, clash = schema_layer(decision.layer), decision.clash
        becomes = f"the copy's {outcome}" if decision.field_wins else "the archive's stays"
        if clash.field == WHOLE_ROW:
            sides = ["", *("deleted" if row is None else "changed" for row in (clash.theirs, clash.mine))]
        else:
            sides = [_shown(declared, clash.field, value) for value in (clash.base, clash.theirs, clash.mine)]
        yield (decision.layer, decision.key, "conflict", field_name(declared, clash.field), *sides, becomes)
    for name, key, why in plan.refused:
        yield name, key, "refused", "", "", "", "", why


def field_name(layer: Layer, name: str) -> str:
    """'Inside diameter'; 'Place' for the geometry, '' for the whole row."""
    if name in (WHOLE_ROW, GEOMETRY):
        return "Place" if name else ""
    return next((field.alias for field in layer.fields if field.name == name), name)


def _shown(layer: Layer, name: str, value: object) -> str:
    if value is None:
        return ""
    return "drawn" if name == GEOMETRY else value_words(layer, name, value)


def _is_decided(plan: Plan, change: Change, name: str) -> bool:
    """Whether a changed value is told of as a conflict."""
    return any((d.layer, d.key) == (change.layer, change.key) and d.clash.field == name for d in plan.decisions)
