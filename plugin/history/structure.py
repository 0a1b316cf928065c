"""Whether the tables and columns of an archive are still those it was made with, and its rows have keys."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from ..schema.declare import BOOLEAN, DATE, DATETIME, INTEGER, REAL, TEXT, Field, Layer
from ..schema.history import HISTORY, ROW_NUMBER, declared_columns
from ..schema.layers import LAYERS
from ..schema.rules import fill, quoted

# what SQLite may call the type of a column of each kind, as a part of its word; tables that QGIS or another program
# wrote differ in the size they add
_TYPES = {
    TEXT: ("TEXT", "CHAR", "CLOB"), REAL: ("REAL", "DOUB", "FLOA"), INTEGER: ("INT",), BOOLEAN: ("INT", "BOOL"),
    DATE: ("DATE",), DATETIME: ("DATETIME",),
}

_MADE_AS = {TEXT: "TEXT", REAL: "REAL", INTEGER: "INTEGER", BOOLEAN: "MEDIUMINT", DATE: "DATE", DATETIME: "DATETIME"}

_ADD = "ALTER TABLE {table} ADD COLUMN {column} {kind}"
_TABLES = "SELECT name FROM sqlite_master WHERE type = 'table'"
_COLUMNS = "PRAGMA table_info({table})"
_PLACES = "SELECT table_name, column_name, geometry_type_name, srs_id FROM gpkg_geometry_columns"
_WITHOUT_KEY = "SELECT count(*) FROM {table} WHERE trim(coalesce({key}, '')) = ''"
_SAME_KEY = """SELECT {key}, count(*) FROM {table} WHERE trim(coalesce({key}, '')) <> ''
GROUP BY {key} HAVING count(*) > 1 ORDER BY {key}"""
_FROM_A_COPY = "Take it from your last copy of the archive."


def structure_faults(connection: sqlite3.Connection) -> Iterator[tuple[str, str, str]]:
    """(kind, layer, sentence) of every layer that is missing, or lacks columns, or has others than it was made with;
    kind is table or column."""
    tables = {name for (name,) in connection.execute(_TABLES)}
    places = {name: rest for name, *rest in connection.execute(_PLACES)}
    ((srs_id,),) = connection.execute(
        "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = 'drains'"
    ).fetchall() or [(None,)]
    for layer in LAYERS:
        if layer.name not in tables:
            yield "table", layer.name, f"{_named(layer)} is missing in the file. {_FROM_A_COPY}"
            continue
        yield from _column_faults(layer, _types(connection, layer))
        if layer.geometry:
            yield from _place_faults(layer, places.get(layer.name), srs_id)


def key_faults(connection: sqlite3.Connection) -> Iterator[tuple[str, str, str]]:
    """(kind, layer, sentence) of layers with rows without a key or with the key of another row; kind is key."""
    for layer in LAYERS:
        if layer.key is None or not layer.key.required or layer.key.name not in _types(connection, layer):
            continue
        table, key = quoted(layer.name), quoted(layer.key.name)
        ((count,),) = connection.execute(fill(_WITHOUT_KEY, table=table, key=key)).fetchall()
        if count:
            yield "key", layer.name, (
                f"{_named(layer)} holds {count:,} {_rows(count)} without a key ({layer.key.name}): nothing can refer "
                "to them. Give each a key of its own."
            )
        twice = connection.execute(fill(_SAME_KEY, table=table, key=key)).fetchall()
        if twice:
            yield "key", layer.name, (
                f"{_named(layer)} holds {len(twice):,} {'key' if len(twice) == 1 else 'keys'} more than once, first "
                f"'{twice[0][0]}' ({twice[0][1]} rows): give each row a key of its own."
            )


def columns_to_put_back(connection: sqlite3.Connection) -> Iterator[tuple[Layer, Field]]:
    """Columns that are missing and can be added empty: no key, and none that a row must have."""
    for layer in LAYERS:
        types = _types(connection, layer)
        yield from ((layer, field) for field in layer.fields
                    if types and field.name not in types and not field.required and field.name != "seq")


def put_column_back(connection: sqlite3.Connection, layer: Layer, field: Field) -> None:
    """Add a column that is missing, empty."""
    connection.execute(fill(_ADD, table=quoted(layer.name), column=quoted(field.name), kind=_MADE_AS[field.kind]))


def _column_faults(layer: Layer, types: dict[str, str]) -> Iterator[tuple[str, str, str]]:
    fields = {field.name: field for field in layer.fields}
    columns = [name for name in declared_columns(layer) if name != ROW_NUMBER or layer.name != HISTORY]
    missing = [name for name in columns if name not in types]
    if missing:
        needed = [name for name in missing if name not in fields or fields[name].required or name == "seq"]
        so = f" Until {', '.join(needed)} is there nothing can be written into the layer." if needed else ""
        yield "column", layer.name, (
            f"{_named(layer)} lacked {', '.join(missing)}, as after its table was replaced by another program. What "
            f"was in there is in the history or in your last copy.{so}"
        )
    other = [f"{name} ({types[name].lower() or 'no type'}, should be {field.kind})" for name, field in fields.items()
             if name in types and not _fits(field, types[name])]
    if other:
        yield "column", layer.name, (
            f"{_named(layer)} has columns of another kind than it was made with: {', '.join(other)}. Figures and "
            "dates in them may be read wrongly. Make the column anew with the right kind."
        )


def _place_faults(
    layer: Layer, place: tuple[str, str, int] | None, srs_id: int | None
) -> Iterator[tuple[str, str, str]]:
    if place is None:
        yield "table", layer.name, f"{_named(layer)} is no map layer of the file any more. {_FROM_A_COPY}"
        return
    _, kind, own_srs_id = place
    if kind.upper() != layer.geometry.upper():
        yield "column", layer.name, (
            f"{_named(layer)} holds shapes of the kind {kind}, where {layer.geometry} is expected. {_FROM_A_COPY}"
        )
    if srs_id is not None and own_srs_id != srs_id:
        yield "column", layer.name, (
            f"{_named(layer)} is in another coordinate reference system than the drains: one archive has one. Bring "
            "its rows into that of the drains."
        )


def _fits(field: Field, stored: str) -> bool:
    said = stored.upper()
    if field.kind == DATE and "DATETIME" in said:
        return False
    return any(word in said for word in _TYPES[field.kind])


def _types(connection: sqlite3.Connection, layer: Layer) -> dict[str, str]:
    rows = connection.execute(fill(_COLUMNS, table=quoted(layer.name)))
    return {row[1]: row[2] for row in rows}


def _named(layer: Layer) -> str:
    return f"The layer '{layer.title}' ({layer.name})"


def _rows(count: int) -> str:
    return "row" if count == 1 else "rows"
