"""Archives in databases for tests: a place of its own for each, and a connection as QGIS stores it."""

from __future__ import annotations

from contextlib import contextmanager

from fallkeeper.plugin.qgis_layer.database_place import PROVIDER, DatabasePlace
from qgis.core import QgsProviderRegistry


def new_place(server, schema="county", user="postgres", database="") -> DatabasePlace:
    """A schema, not made yet, in a new database of the test server."""
    return DatabasePlace(server.where(database or server.new_database(), user), schema)


def database_of(place: DatabasePlace) -> str:
    return place.rows("SELECT current_database()")[0][0]


@contextmanager
def stored_connection(place: DatabasePlace, name="the county's server"):
    """The connection of a place, kept in QGIS under a name with its user."""
    provider = QgsProviderRegistry.instance().providerMetadata(PROVIDER)
    provider.createConnection(place.uri, {"saveUsername": True}).store(name)
    try:
        yield name
    finally:
        provider.deleteConnection(name)


@contextmanager
def logins(server, place: DatabasePlace, **roles):
    """Users who log in and belong to group roles, for the time of a test: `anna=("..._edit",)`."""
    database = database_of(place)
    for login, groups in roles.items():
        server.sql(f"CREATE ROLE {login} LOGIN", database)
        for group in groups:
            server.sql(f'GRANT "{group}" TO {login}', database)
    try:
        yield {login: DatabasePlace(server.where(database, login), place.schema) for login in roles}
    finally:
        for login in roles:
            server.sql(f"DROP OWNED BY {login}; DROP ROLE {login}", database)
