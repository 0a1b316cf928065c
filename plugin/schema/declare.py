"""How a layer and a field of an archive are declared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..units import Units
from .values import VALUE_LISTS

TEXT, REAL, INTEGER, BOOLEAN, DATE, DATETIME = "text", "real", "integer", "boolean", "date", "datetime"
KINDS = (TEXT, REAL, INTEGER, BOOLEAN, DATE, DATETIME)

NONE, POINT, LINE, POLYGON = "", "Point", "LineString", "Polygon"
GEOMETRIES = (NONE, POINT, LINE, POLYGON)

UNIT_KINDS = ("", "length", "diameter", "area", "flow", "coefficient")


@dataclass(frozen=True)
class Field:
    """One field. Unknown is NULL in every field that is not `required`; a boolean is kept as 1 or 0.

    `unit` is the kind of unit ("length", "diameter", "area", "flow", "coefficient" or "" for none);
    elevations and depths are lengths. `values` names a list in VALUE_LISTS. `least` bounds a figure,
    and with `above` the bound itself is refused too. `refers_to` is the layer whose key this field
    holds. `tab` is the form's page.
    """

    name: str
    kind: str
    alias: str
    meaning: str
    tab: str
    unit: str = ""
    required: bool = False
    key: bool = False
    values: str = ""
    least: float | None = None
    above: bool = False
    refers_to: str = ""

    @property
    def choices(self) -> Mapping[str, str]:
        """Stored value -> what people read; empty where anything may be written."""
        return VALUE_LISTS[self.values] if self.values else {}

    def alias_in(self, units: Units) -> str:
        """What people read above the field, with its unit: 'Inside diameter (in)'."""
        return f"{self.alias} ({units.name(self.unit)})" if self.unit else self.alias


@dataclass(frozen=True)
class Layer:
    """One layer or, without geometry, one table. `one` is what people call one row of it.

    Rows of a layer with `place_required` are refused without geometry; `shown_as` is the QGIS
    expression of a row's display name.
    """

    name: str
    title: str
    one: str
    meaning: str
    geometry: str
    fields: tuple[Field, ...]
    place_required: bool = True
    shown_as: str = ""

    @property
    def key(self) -> Field | None:
        return next((field for field in self.fields if field.key), None)

    def field(self, name: str) -> Field:
        """The field called `name`; KeyError if there is none."""
        for declared in self.fields:
            if declared.name == name:
                return declared
        raise KeyError(name)


def text(name: str, alias: str, meaning: str, tab: str, **more: object) -> Field:
    """A field of words."""
    return Field(name, TEXT, alias, meaning, tab, **more)  # type: ignore[arg-type]


def key(name: str, alias: str, one: str, required: bool = True) -> Field:
    """The text key of a layer: kept as brought, made up for a new row, never the row's number."""
    meaning = f"Key of the {one}, kept as brought; a new one gets a key of its own."
    return Field(name, TEXT, alias, meaning, "Main", required=required, key=True)


def figure(name: str, alias: str, meaning: str, tab: str, unit: str = "", **more: object) -> Field:
    """A field that holds a number in a unit of the kind `unit`."""
    return Field(name, REAL, alias, meaning, tab, unit=unit, **more)  # type: ignore[arg-type]


def error(name: str, alias: str, meaning: str, tab: str) -> Field:
    """A standard error in the unit of length."""
    return figure(name, alias, meaning, tab, "length", least=0)


def day(name: str, alias: str, meaning: str, tab: str) -> Field:
    """A date."""
    return Field(name, DATE, alias, meaning, tab)


def moment(name: str, alias: str, meaning: str, tab: str) -> Field:
    """A date with the time of day."""
    return Field(name, DATETIME, alias, meaning, tab)


def link(name: str, alias: str, meaning: str, tab: str, refers_to: str, **more: object) -> Field:
    """A field that holds the key of a row of the layer `refers_to`."""
    return Field(name, TEXT, alias, meaning, tab, refers_to=refers_to, **more)  # type: ignore[arg-type]


def notes() -> tuple[Field, Field]:
    """The two fields every layer ends with."""
    return (
        text("note", "Note", "Anything else worth keeping.", "Note"),
        text("edited_by", "Edited by", "Who changed the row last; filled in by QGIS.", "Note"),
    )
