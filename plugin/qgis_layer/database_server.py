"""What a server of PostgreSQL says about itself, and whether an archive can be made there."""

from __future__ import annotations

from dataclasses import dataclass

from ..schema.postgres import LEAST_POSTGRES, LONGEST_NAME
from ..schema.postgres_roles import role_names
from ..schema.rules import quoted
from .archive_error import ArchiveError
from .database_place import DatabasePlace

_FACTS = """SELECT current_setting('server_version_num')::int, current_setting('server_version'), current_database(),
  current_user, has_database_privilege(current_database(), 'CREATE'),
  coalesce((SELECT nspname FROM pg_extension JOIN pg_namespace n ON n.oid = extnamespace
    WHERE extname = 'postgis'), ''),
  EXISTS (SELECT 1 FROM pg_namespace WHERE nspname = {schema}),
  coalesce((SELECT has_schema_privilege(oid, 'CREATE') FROM pg_namespace WHERE nspname = {schema}), false)"""


@dataclass(frozen=True)
class Server:
    """`postgis`: the schema PostGIS lies in; '' if there is none. `version` as 150018."""

    version: int
    version_name: str
    database: str
    user: str
    may_make_schema: bool
    postgis: str
    has_schema: bool
    may_use_schema: bool

    @classmethod
    def at(cls, place: DatabasePlace) -> Server:
        """Ask the server; ArchiveError if nobody answers."""
        return cls(*place.rows(_FACTS, schema=place.schema)[0])

    def must_take(self, place: DatabasePlace) -> None:
        """ArchiveError with what to do if no archive can be made in `place`."""
        if not place.schema.strip() or place.schema.startswith("pg_"):
            raise ArchiveError("No schema is named: name the one the archive is to be made in, such as drains.")
        if any(len(role.encode("utf-8")) > LONGEST_NAME for role in role_names(self.database, place.schema)):
            raise ArchiveError(f"The schema's name '{place.schema}' is too long: choose a shorter one.")
        if self.version < LEAST_POSTGRES:
            raise ArchiveError(
                f"The server has PostgreSQL {self.version_name}, and an archive needs {LEAST_POSTGRES // 10_000} or "
                "newer: ask its administrator for a newer one."
            )
        if not self.postgis:
            raise ArchiveError(
                f"The database {self.database} has no PostGIS: let its administrator run CREATE EXTENSION postgis; "
                "in it."
            )
        if not self.has_schema and not self.may_make_schema:
            raise ArchiveError(
                f"{self.user} may not make a schema in {self.database}: let its administrator run "
                f"CREATE SCHEMA {quoted(place.schema)} AUTHORIZATION {quoted(self.user)}; in it."
            )
        if self.has_schema and not self.may_use_schema:
            raise ArchiveError(
                f"{self.user} may make nothing in {place}: let its owner run "
                f"GRANT USAGE, CREATE ON SCHEMA {quoted(place.schema)} TO {quoted(self.user)}; or choose another one."
            )
