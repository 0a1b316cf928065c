"""What a row must keep to, made from the fields: once as the sentence people read, once as the condition
under which SQLite refuses the row, once as the expression a form judges by.

A form repeats every rule, because a save refused by the file can leave the geometry saved and the
attribute not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from .declare import BOOLEAN, INTEGER, REAL, Field, Layer

# {unless} is left for the trigger: an update may keep its own key, and a REPLACE may push another row out
_KEY_TAKEN = "EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key}{unless})"

_SHAPE_WORD = {"Point": "one point", "LineString": "one unbroken line", "Polygon": "one area"}

ONE_ROW_ONLY = "The table archive has one row only: change that row."


@dataclass(frozen=True)
class Rule:
    """A rule on one field. `broken_sql` is true for a bad row NEW, `holds` (QGIS expression) for a good one.

    PostgreSQL reads `holds` too. SQLite before 3.47 takes no computed message, so the sentence cannot repeat the value
    refused.
    """

    field: str
    sentence: str
    broken_sql: str
    holds: str


def rules(layer: Layer) -> tuple[Rule, ...]:
    """The rules on the fields of `layer`, in the order of its fields."""
    return tuple(rule for field in layer.fields for rule in _field_rules(layer, field))


def _field_rules(layer: Layer, field: Field) -> Iterator[Rule]:
    name = quoted(field.name)
    if field.key:
        yield from _key_rules(layer, field)
    elif field.values:
        yield _list_rule(field)
    elif field.kind in (REAL, INTEGER) and field.name != "seq":
        yield _figure_rule(field)
    elif field.kind == BOOLEAN:
        sentence = f"{field.alias} is 1 for yes or 0 for no; leave it empty if unknown."
        yield Rule(field.name, sentence, f"NEW.{name} NOT IN (0, 1)", f"{name} is null or {name} in (0, 1)")
    elif field.required:
        sentence = f"{field.alias} is missing: fill it in."
        yield Rule(field.name, sentence, f"trim(coalesce(NEW.{name}, '')) = ''", f"trim(coalesce({name}, '')) <> ''")


def _key_rules(layer: Layer, field: Field) -> Iterator[Rule]:
    name, table = quoted(field.name), quoted(layer.name)
    sentence = f"{field.alias} has no key: give it one that no other {layer.one} has."
    blank_sql, filled = f"trim(NEW.{name}) = ''", f"{name} is null or trim({name}) <> ''"
    if field.required:
        blank_sql, filled = f"trim(coalesce(NEW.{name}, '')) = ''", f"trim(coalesce({name}, '')) <> ''"
    yield Rule(field.name, sentence, blank_sql, filled)
    taken = fill(_KEY_TAKEN, table=table, key=name)
    sentence = f"{field.alias} has the key of another {layer.one}: keys must differ."
    yield Rule(field.name, sentence, taken, "")  # a form takes this rule from the file's UNIQUE


def _list_rule(field: Field) -> Rule:
    name, known = quoted(field.name), ", ".join(literal(value) for value in field.choices)
    sentence = f"{field.alias} is not known: use {listed(field.choices)}"
    if field.required:
        holds = f"coalesce({name} in ({known}), false)"
        return Rule(field.name, sentence + ".", f"coalesce(NEW.{name} NOT IN ({known}), 1)", holds)
    sentence += ", or leave it empty."
    return Rule(field.name, sentence, f"NEW.{name} NOT IN ({known})", f"{name} is null or {name} in ({known})")


def _figure_rule(field: Field) -> Rule:
    name = quoted(field.name)
    bound, sentence = "", f"{field.alias} must be a number"
    if field.least is not None:
        bound = f"{'>' if field.above else '>='} {field.least:g}"
        sentence += f" above {field.least:g}" if field.above else f", {field.least:g} or more"
    number = f"typeof(NEW.{name}) IN ('real', 'integer')" + (f" AND NEW.{name} {bound}" if bound else "")
    holds = f"{name} {bound}" if bound else "true"
    if field.required:
        return Rule(field.name, sentence + ".", f"NOT ({number})", f"{name} is not null and {holds}")
    sentence += "; leave it empty if unknown."
    return Rule(field.name, sentence, f"NOT (NEW.{name} IS NULL OR ({number}))", f"{name} is null or {holds}")


def place_sentence(layer: Layer) -> str:
    """What the geometry of a row of `layer` must be."""
    return f"A {layer.one} must be drawn as {_SHAPE_WORD[layer.geometry]} without heights: draw it again or split it."


def fill(template: str, **parts: str) -> str:
    """SQL with {name} replaced by the part of that name; other braces stay. Parts are SQL too: quote them first."""
    return re.sub(r"\{(\w+)\}", lambda place: parts.get(place.group(1), place.group(0)), template)


def quoted(name: str) -> str:
    """A name as SQL and QGIS expressions write it."""
    return '"' + name.replace('"', '""') + '"'


def literal(words: str) -> str:
    """A text as SQL and QGIS expressions write it."""
    return "'" + words.replace("'", "''") + "'"


def listed(words: object) -> str:
    """'a, b or c'."""
    first = list(words)  # type: ignore[call-overload]
    last = first.pop()
    return f"{', '.join(first)} or {last}" if first else last
