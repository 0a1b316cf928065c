"""Archives for tests of the engine: the tables of the schema with all their triggers, without any GIS."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import shapely
from fallkeeper.plugin.schema import LAYERS, layer
from fallkeeper.plugin.schema.sqlite import triggers
from fallkeeper.plugin.schema.sqlite_history import NOTE_ROW, NOTE_TABLE

SAMPLE = Path(__file__).resolve().parents[1] / "sample_project" / "ossel_flats.gpkg"

_TYPES = {"text": "TEXT", "real": "REAL", "integer": "INTEGER", "boolean": "MEDIUMINT", "date": "DATE",
          "datetime": "DATETIME"}
_PLACES = {"Point": shapely.Point(0, 0), "LineString": shapely.LineString([(0, 0), (100, 0)]),
           "Polygon": shapely.box(0, 0, 1, 1)}


def bare_archive(*names: str, path=":memory:", with_places: bool = True) -> sqlite3.Connection:
    """The layers named (default: all) and the history, as tables of a plain SQLite file in autocommit.

    `with_places`: with the rules on geometries as a GeoPackage stores them.
    """
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("CREATE TABLE gpkg_geometry_columns (table_name TEXT, srs_id INTEGER)")
    connection.execute("CREATE TABLE gpkg_spatial_ref_sys (srs_id INTEGER, definition TEXT)")
    connection.execute(NOTE_TABLE)
    connection.execute(NOTE_ROW)
    chosen = [one for one in LAYERS if not names or one.name in (*names, "history")]
    for declared in chosen:
        number = "seq" if declared.name == "history" else "fid"
        columns = [f'"{number}" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL']
        columns += [f"geom BLOB{' NOT NULL' if declared.place_required else ''}"] if declared.geometry else []
        for field in declared.fields:
            if field.name != "seq":
                more = (" NOT NULL" if field.required else "") + (" UNIQUE" if field.key else "")
                columns.append(f'"{field.name}" {_TYPES[field.kind]}{more}')
        connection.execute(f'CREATE TABLE "{declared.name}" ({", ".join(columns)})')
    for declared in chosen:
        for statement in triggers(declared):
            connection.execute(statement if with_places else _without_places(statement))
    return connection


def _without_places(statement: str) -> str:
    about_places = ('NEW."geom"', "gpkg_geometry_columns")
    return "\n".join(line for line in statement.splitlines() if not any(words in line for words in about_places))


def blob(shape, flags: int = 0x01) -> bytes:
    """A geometry as the file stores it."""
    return b"GP\x00" + bytes([flags]) + (3734).to_bytes(4, "little") + shapely.to_wkb(shape)


def good_row(name: str, key: str = "K1") -> dict:
    """Values of the required columns, the geometry included."""
    declared = layer(name)
    row = {
        field.name: next(iter(field.choices), None) or (1.0 if field.kind == "real" else key)
        for field in declared.fields
        if field.required
    }
    if declared.geometry:
        row["geom"] = blob(_PLACES[declared.geometry])
    return row


def insert(connection: sqlite3.Connection, name: str, how: str = "INSERT", /, **values: object) -> None:
    """Add a good row with these values; `how` may be INSERT OR REPLACE and the like."""
    row = {**good_row(name), **values}
    names = ", ".join(f'"{column}"' for column in row)
    connection.execute(f'{how} INTO "{name}" ({names}) VALUES ({", ".join("?" * len(row))})', list(row.values()))


def entries(connection: sqlite3.Connection) -> list[sqlite3.Row]:
    """The history, oldest first; `before` read as JSON."""
    cursor = connection.execute("SELECT * FROM history ORDER BY seq")
    names = [column[0] for column in cursor.description]
    rows = [dict(zip(names, row)) for row in cursor]
    for row in rows:
        row["before"] = json.loads(row["before"]) if row["before"] is not None else None
    return rows


def copied_sample(folder: Path) -> Path:
    """A copy of the sample archive of one's own, in a folder with a blank and an umlaut."""
    own = folder / "my ärchive"
    own.mkdir()
    return Path(shutil.copyfile(SAMPLE, own / "ossel flats.gpkg"))


def dump(path: Path) -> dict[str, list]:
    """Every row of every layer with its history, as stored, in order of their numbers."""
    with closing(sqlite3.connect(path)) as connection:
        return {
            one.name: connection.execute(f'SELECT * FROM "{one.name}" ORDER BY 1').fetchall() for one in LAYERS
        }
