"""The layers as tables of PostgreSQL with PostGIS. Rules, history and roles: postgres_guards.py, postgres_roles.py.

The names, kinds and sentences are those of the GeoPackage. All goes into one schema of the database; `fid` numbers the
rows as GeoPackage does, and a boolean is kept as 1 or 0 there too.
"""

from __future__ import annotations

from collections.abc import Iterator

from ..units import Units
from .declare import Field, Layer
from .layers import LAYERS
from .rules import literal, quoted

LEAST_POSTGRES = 130_000  # server_version_num; 13 is the first with gen_random_uuid of its own
LONGEST_NAME = 63  # bytes

_KIND = {
    "text": "text",
    "real": "double precision",
    "integer": "bigint",
    "boolean": "integer",
    "date": "date",
    "datetime": "timestamp without time zone",
}


def table_name(schema: str, name: str) -> str:
    """A table as SQL names it."""
    return f"{quoted(schema)}.{quoted(name)}"


def number_column(layer: Layer) -> str:
    """The column that numbers the rows of a layer."""
    return "seq" if layer.name == "history" else "fid"


def table_statements(schema: str, srid: int, units: Units, postgis: str) -> tuple[str, ...]:
    """Empty tables in a schema that is there; places in `srid`. `postgis`: the schema PostGIS lies in."""
    statements = []
    for layer in LAYERS:
        table = table_name(schema, layer.name)
        columns = ",\n  ".join(_columns(layer, srid, postgis))
        statements.append(f"CREATE TABLE {table} (\n  {columns}\n)")
        statements.append(f"COMMENT ON TABLE {table} IS {literal(f'{layer.title}. {layer.meaning}')}")
        for field in layer.fields:
            words = literal(f"{field.alias_in(units)}. {field.meaning}")
            statements.append(f"COMMENT ON COLUMN {table}.{quoted(field.name)} IS {words}")
    return tuple(statements)


def index_statements(schema: str) -> tuple[str, ...]:
    """Indexes of places, of the keys other rows name, and of the history; made after rows were filled in."""
    statements = []
    for layer in LAYERS:
        table = table_name(schema, layer.name)
        if layer.geometry:
            statements.append(f"CREATE INDEX {quoted(f'{layer.name}_geom')} ON {table} USING gist (geom)")
        for field in layer.fields:
            if field.refers_to:
                name = quoted(f"{layer.name}_{field.name}")
                statements.append(f"CREATE INDEX {name} ON {table} ({quoted(field.name)})")
    statements.append(f"CREATE INDEX history_of_row ON {table_name(schema, 'history')} (layer, key, seq)")
    return tuple(statements)


def _columns(layer: Layer, srid: int, postgis: str) -> Iterator[str]:
    # No identity column: QGIS asks for its next number without the schema, so in vain. Four bytes: QGIS then calls a
    # row by its number as it does in a GeoPackage. The history grows faster.
    yield f"{number_column(layer)} {'bigserial' if layer.name == 'history' else 'serial'} PRIMARY KEY"
    if layer.geometry:
        kind = f"{quoted(postgis)}.geometry({layer.geometry}, {srid})"
        yield f"geom {kind}" + (" NOT NULL" if layer.place_required else "")
    for field in layer.fields:
        if field.name != number_column(layer):
            yield _column(layer, field)


def _column(layer: Layer, field: Field) -> str:
    words = [quoted(field.name), _KIND[field.kind]]
    if field.key:
        words.append("DEFAULT gen_random_uuid()::text")
    elif field.name == "edited_by" and layer.name != "history":
        words.append("DEFAULT session_user")
    if field.required:
        words.append("NOT NULL")
    if field.key:
        # no trigger: INSERT ... ON CONFLICT must get as far as the constraint, whose name is what people read
        words.append(f"CONSTRAINT {quoted(f'{field.alias} has the key of another {layer.one}')} UNIQUE")
    return " ".join(words)
