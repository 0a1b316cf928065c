"""Who may do what in a database archive: two group roles, to which the administrator adds people."""

from __future__ import annotations

from .layers import LAYERS
from .postgres import table_name
from .rules import quoted


def role_names(database: str, schema: str) -> tuple[str, str]:
    """The roles that read and that edit. Roles belong to the whole server, so the database is in the name."""
    return f"{database}_{schema}_read", f"{database}_{schema}_edit"


def create_role_statements(roles: tuple[str, ...]) -> tuple[str, ...]:
    """Roles nobody logs in as."""
    return tuple(f"CREATE ROLE {quoted(role)} NOLOGIN" for role in roles)


def grant_statements(database: str, schema: str, styles: str = "") -> tuple[str, ...]:
    """What the two roles may do; nobody else but the owner may anything. `styles`: the table of QGIS's styles.

    The history is written by its triggers as the owner, so that nobody who edits can change it.
    """
    read, edit = (quoted(role) for role in role_names(database, schema))
    inside = quoted(schema)
    data = ", ".join(table_name(schema, layer.name) for layer in LAYERS if layer.name != "history")
    statements = [
        f"GRANT USAGE ON SCHEMA {inside} TO {read}, {edit}",
        f"GRANT SELECT ON ALL TABLES IN SCHEMA {inside} TO {read}, {edit}",
        f"GRANT INSERT, UPDATE, DELETE ON {data} TO {edit}",
        f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA {inside} TO {edit}",
    ]
    if styles:
        statements.append(f"GRANT SELECT ON {styles} TO {read}, {edit}")
    return tuple(statements)
