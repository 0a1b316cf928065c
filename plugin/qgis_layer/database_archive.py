"""Makes an archive in a database: tables, rules and history in one transaction, then styles, project and roles."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable

from qgis.core import QgsCoordinateReferenceSystem

from ..schema import LAYERS, SCHEMA_VERSION
from ..schema.postgres import index_statements, table_name, table_statements
from ..schema.postgres_guards import guard_statements
from ..schema.rules import literal, quoted
from ..units import Units
from .archive import unit_system
from .archive_error import ArchiveError
from .database_place import DatabasePlace
from .database_server import Server

_TABLES_THERE = """SELECT relname FROM pg_class JOIN pg_namespace n ON n.oid = relnamespace
WHERE nspname = {schema} AND relname IN ({names})"""
_FUNCTIONS = """SELECT proname FROM pg_proc JOIN pg_namespace n ON n.oid = pronamespace
WHERE nspname = {schema} AND prorettype = 'trigger'::regtype"""
_SRID = "SELECT srid FROM spatial_ref_sys WHERE auth_name = {authority} AND auth_srid::text = {code}"
_ABOUT = "INSERT INTO {table} (name, units, schema_version, created_on) VALUES ({values})"


def create_database_archive(
    place: DatabasePlace,
    crs: QgsCoordinateReferenceSystem,
    units: str = "",
    name: str = "",
    created_on: datetime.date | None = None,
    fill: Callable[[Server, int], Iterable[str]] | None = None,
) -> None:
    """Make an archive in `place`, in planar `crs`; `units` is "us", "metric" or "" for those of the CRS.

    `fill` gives, for the server and the number of the CRS there, the statements that write the rows, that about the
    archive included; None: an empty archive. An archive that is there already is replaced only if it has no row. All or
    nothing. Raises ArchiveError.
    """
    of_crs = unit_system(crs)
    units = units or of_crs
    server = Server.at(place)
    server.must_take(place)
    replaced = _make_way(place)
    srid = _srid(place, server, crs)
    about = _about(place, units, name or place.schema, created_on or datetime.date.today())
    place.run(
        statement
        for part in (
            () if server.has_schema else (f"CREATE SCHEMA {quoted(place.schema)}",),
            replaced,
            table_statements(place.schema, srid, Units(units), server.postgis),
            (about,) if fill is None else fill(server, srid),
            index_statements(place.schema),
            guard_statements(place.schema, server.postgis),
        )
        for statement in part
    )


def _make_way(place: DatabasePlace) -> tuple[str, ...]:
    """Statements that remove an archive without a row; ArchiveError if the schema holds one with rows."""
    names = tuple(layer.name for layer in LAYERS)
    there = [name for (name,) in place.rows(_TABLES_THERE, schema=place.schema, names=names)]
    if not there:
        return ()
    if len(there) < len(LAYERS):
        raise ArchiveError(
            f"{_start(place)} holds a table '{there[0]}' and is no archive of Fallkeeper: choose another schema."
        )
    tables = {name: table_name(place.schema, name) for name in names}
    for name, table in tables.items():
        if name != "archive" and place.rows(f"SELECT EXISTS (TABLE {table})")[0][0]:
            raise ArchiveError(
                f"{_start(place)} is an archive that already holds rows (in {name}): nothing is overwritten. "
                "Choose another schema."
            )
    functions = [f"{table_name(place.schema, name)}()" for (name,) in place.rows(_FUNCTIONS, schema=place.schema)]
    return (f"DROP TABLE {', '.join(tables.values())}", f"DROP FUNCTION {', '.join(functions)}")


def _srid(place: DatabasePlace, server: Server, crs: QgsCoordinateReferenceSystem) -> int:
    authority, _, code = crs.authid().partition(":")
    systems = table_name(server.postgis, "spatial_ref_sys").replace("{", "{{").replace("}", "}}")
    found = place.rows(_SRID.replace("spatial_ref_sys", systems), authority=authority, code=code)
    if not found:
        raise ArchiveError(
            f"PostGIS does not know {crs.userFriendlyIdentifier()}: choose a system with an EPSG number that it knows."
        )
    return found[0][0]


def _about(place: DatabasePlace, units: str, name: str, created_on: datetime.date) -> str:
    values = ", ".join([literal(name), literal(units), str(SCHEMA_VERSION), literal(created_on.isoformat())])
    return _ABOUT.format(table=table_name(place.schema, "archive"), values=values)


def _start(place: DatabasePlace) -> str:
    words = str(place)
    return words[:1].upper() + words[1:]
