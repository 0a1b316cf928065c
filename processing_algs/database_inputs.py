"""The parameters that name an archive in a database."""

from __future__ import annotations

from qgis.core import (
    QgsProcessingException,
    QgsProcessingParameterDatabaseSchema,
    QgsProcessingParameterProviderConnection,
)

CONNECTION, SCHEMA = "CONNECTION", "SCHEMA"
DEFAULT_SCHEMA = "fallkeeper"


def add_database(algorithm, optional: bool, connection_help: str, schema_help: str):
    connection = QgsProcessingParameterProviderConnection(
        CONNECTION, algorithm.tr("Database connection"), "postgres", optional=optional
    )
    schema = QgsProcessingParameterDatabaseSchema(
        SCHEMA, algorithm.tr("Schema in the database"), CONNECTION, DEFAULT_SCHEMA, optional=optional
    )
    algorithm.add(connection, connection_help)
    algorithm.add(schema, schema_help)


def database_place(algorithm, parameters, context):
    """The place named; None if no connection is given."""
    from ..plugin.qgis_layer.archive_error import ArchiveError
    from ..plugin.qgis_layer.database_place import DatabasePlace

    name = algorithm.parameterAsConnectionName(parameters, CONNECTION, context)
    if not name:
        return None
    try:
        return DatabasePlace.of_connection(name, algorithm.parameterAsSchema(parameters, SCHEMA, context))
    except ArchiveError as fault:
        raise QgsProcessingException(str(fault)) from None


def rows_done(feedback):
    """For copies: tells progress, and stops them when the user cancels."""

    def on_rows(done: int, of_all: int):
        if feedback.isCanceled():
            raise QgsProcessingException("Canceled: nothing was made.")
        feedback.setProgress(100 * done / max(of_all, 1))

    return on_rows
