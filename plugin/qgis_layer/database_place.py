"""Where an archive in a database is: the connection and the schema. PostgreSQL is spoken to through QGIS alone."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from qgis.core import (
    NULL,
    QgsAbstractDatabaseProviderConnection,
    QgsDataSourceUri,
    QgsException,
    QgsProviderConnectionException,
    QgsProviderRegistry,
    QgsTransaction,
    QgsVectorLayer,
)

from ..schema import LAYERS, layer
from ..schema.postgres import number_column
from ..schema.rules import literal
from .archive_error import ArchiveError

PROVIDER = "postgres"
_REASON = re.compile(r"[^\W\d_]{4,}:  (.+)")  # 'ERROR:  ' in whatever language the server speaks
_NO_LIMIT_S = 0


@dataclass(frozen=True)
class DatabasePlace:
    """`uri`: the connection as QGIS writes it, with the login where QGIS keeps one."""

    uri: str
    schema: str

    @classmethod
    def of_connection(cls, name: str, schema: str) -> DatabasePlace:
        """The schema `schema` of a connection stored in QGIS under `name`; ArchiveError if there is none."""
        try:
            connection = QgsProviderRegistry.instance().providerMetadata(PROVIDER).findConnection(name)
        except QgsException:
            connection = None
        if connection is None:
            raise ArchiveError(f"QGIS has no PostgreSQL connection called '{name}': add it in the Browser first.")
        return cls(connection.uri(), schema)

    @classmethod
    def of_layer(cls, opened: QgsVectorLayer) -> DatabasePlace | None:
        """Where a layer of PostgreSQL lies; None for any other layer."""
        if opened.providerType() != PROVIDER:
            return None
        source = QgsDataSourceUri(opened.source())
        return cls(source.connectionInfo(False), source.schema())

    def same_as(self, other: DatabasePlace) -> bool:
        """Whether both name one schema of one database, whoever logs in."""
        return self._address() == other._address()

    def _address(self) -> tuple[str, ...]:
        source = QgsDataSourceUri(self.uri)
        return source.service(), source.host(), source.port(), source.database(), self.schema

    def __str__(self) -> str:
        source = QgsDataSourceUri(self.uri)
        return f"the schema '{self.schema}' of {source.database() or source.service() or 'the database'}"

    def connection(self) -> QgsAbstractDatabaseProviderConnection:
        """A connection as QGIS's own dialogs use it."""
        return QgsProviderRegistry.instance().providerMetadata(PROVIDER).createConnection(self.uri, {})

    def rows(self, query: str, **words: str | tuple[str, ...]) -> list[list]:
        """What a query returns; NULL is None. `{name}` in it stands for the words given under that name, as literals.

        Raises ArchiveError.
        """
        if words:
            query = query.format(**{name: _literals(said) for name, said in words.items()})
        try:
            found = self.connection().executeSql(query)
        except (QgsException, QgsProviderConnectionException) as fault:
            raise ArchiveError(self.refusal(str(fault))) from None
        return [[None if value == NULL else value for value in row] for row in found]

    def run(self, statements: Iterable[str]) -> None:
        """All statements in one transaction: all of them hold, or none. Raises ArchiveError."""
        transaction = QgsTransaction.create(self.uri, PROVIDER)
        begun, fault = transaction.begin(_NO_LIMIT_S)
        if not begun:
            raise ArchiveError(self.refusal(fault))
        try:
            for statement in statements:
                done, fault = transaction.executeSql(statement)
                if not done:
                    raise ArchiveError(self.refusal(fault))
            done, fault = transaction.commit()
            if not done:
                raise ArchiveError(self.refusal(fault))
        except BaseException:
            transaction.rollback()
            raise

    def layer_source(self, name: str, with_login: bool = True) -> str:
        """The source of the layer `name` for QGIS; without login QGIS asks whoever opens it."""
        source = QgsDataSourceUri(self.uri)
        if not with_login:
            source.setUsername("")
            source.setPassword("")
            source.setAuthConfigId("")
        declared = layer(name)
        source.setDataSource(self.schema, name, "geom" if declared.geometry else "", "", number_column(declared))
        return source.uri(False)

    def open_layer(self, name: str) -> QgsVectorLayer:
        """The layer `name` under its title; ArchiveError if it cannot be opened."""
        title = next((declared.title for declared in LAYERS if declared.name == name), name)
        opened = QgsVectorLayer(self.layer_source(name), title, PROVIDER)
        if not opened.isValid():
            raise ArchiveError(
                f"QGIS cannot open the layer '{name}' in {self}: is it an archive of Fallkeeper, does the server "
                "answer, and may you read it?"
            )
        return opened

    def refusal(self, fault: str) -> str:
        """One sentence about what the server or the way to it said."""
        reason = _REASON.search(fault)
        if reason:
            return f"The database refused: {reason.group(1).strip().rstrip('.')}."
        return (
            f"The database does not answer, nothing was changed in {self}: see that the server runs and the login is "
            "right, then start again."
        )


def _literals(said: str | tuple[str, ...]) -> str:
    return literal(said) if isinstance(said, str) else ", ".join(literal(word) for word in said)
