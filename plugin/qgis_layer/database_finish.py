"""What makes an archive in a database ready for everybody: forms and symbols, a project, and who may do what."""

from __future__ import annotations

from ..schema import LAYERS
from ..schema.postgres_roles import create_role_statements, grant_statements, role_names
from ..units import Units
from .archive_error import ArchiveError
from .archive_styles import dress
from .database_place import DatabasePlace
from .database_project import store_project
from .database_server import Server

_STYLES = "public.layer_styles"  # the one table QGIS looks for styles in
_ROLES_THERE = "SELECT rolname FROM pg_roles WHERE rolname IN ({roles})"


def finish_database_archive(place: DatabasePlace, units: str) -> list[str]:
    """Store styles and project of a new archive and set up its roles; what could not be done, a sentence each.

    To be called on the main thread. The archive can be used without any of it by whoever made it.
    """
    sentences = (save_styles(place, units), store_project(place, Server.at(place).user), set_roles(place))
    return [sentence for sentence in sentences if sentence]


def save_styles(place: DatabasePlace, units: str) -> str:
    """Save form and symbols of every layer in the database; a sentence if that is not allowed, else ''."""
    try:
        place.rows(_FORGET_STYLES, styles=_STYLES, schema=place.schema)
        for declared in LAYERS:
            opened = place.open_layer(declared.name)
            dress(opened, declared.name, Units(units))
            fault = opened.saveStyleToDatabase("default", "Form and symbols of the archive", True, "")
            if fault:
                raise ArchiveError(fault)
    except ArchiveError as fault:
        return (
            f"Forms and symbols could not be stored ({fault}), so QGIS gets them from the plugin alone: let an "
            f"administrator allow you to write to the table {_STYLES}, then store them layer by layer."
        )
    return ""


# of an archive that was there before
_FORGET_STYLES = """DO $forget$ BEGIN
  IF to_regclass({styles}) IS NOT NULL THEN
    DELETE FROM public.layer_styles WHERE f_table_schema = {schema} AND f_table_catalog = current_database();
  END IF;
END $forget$"""


def set_roles(place: DatabasePlace) -> str:
    """Make the two group roles and say what they may do; a sentence with the SQL to run if that is not allowed."""
    server = Server.at(place)
    roles = role_names(server.database, place.schema)
    there = {role for (role,) in place.rows(_ROLES_THERE, roles=roles)}
    styles = _STYLES if place.rows("SELECT to_regclass({styles}) IS NOT NULL", styles=_STYLES)[0][0] else ""
    wanted = create_role_statements(tuple(role for role in roles if role not in there))
    grants = grant_statements(server.database, place.schema, styles)
    try:
        place.run((*wanted, *grants))
    except ArchiveError as fault:
        order = "; ".join((*wanted, *grants))
        return (
            f"The roles {roles[0]} and {roles[1]} could not be set up ({fault}). Only {server.user} can use the "
            f"archive until an administrator of the server runs in {server.database}: {order};"
        )
    return ""
