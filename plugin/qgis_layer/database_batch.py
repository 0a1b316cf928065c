"""One transaction, one batch in a database: several rows of an archive changed together, with why, all or nothing."""

from __future__ import annotations

import datetime
import json
import math
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from ..schema import Layer
from ..schema import layer as schema_layer
from ..schema.history import GEOMETRY, NO_SHAPE
from ..schema.postgres import table_name
from ..schema.postgres_guards import BATCH_SETTING, WHY_SETTING
from ..schema.rules import fill, literal, quoted
from .database_place import DatabasePlace
from .database_server import Server

_SET = "SET LOCAL {setting} = {value}"
_INSERT = "INSERT INTO {table} ({columns}) VALUES ({values})"
_UPDATE = "UPDATE {table} SET {changes} WHERE {row}"
_SELECT = "SELECT (to_jsonb(t) - 'geom')::text FROM {table} t WHERE {row}"
_DELETE = "DELETE FROM {table} WHERE {row}"
# {mark}: an end that the values cannot contain
_ONE_ROW = """DO ${mark}$ BEGIN {statement};
  IF NOT FOUND THEN RAISE EXCEPTION USING MESSAGE = {sentence}; END IF;
END ${mark}$"""
_SRIDS = "SELECT f_table_name, srid FROM geometry_columns WHERE f_table_schema = {schema}"


@contextmanager
def database_batch(place: DatabasePlace, kind: str, why: str, who: str = "") -> Iterator[DatabaseBatch]:
    """Change an archive in a database in one transaction:

        with database_batch(place, "field", "Back from the north field") as batch:
            batch.update("drains", "A-1", {"status": "abandoned"})

    Nothing is sent before the end; any exception inside means that nothing is. Every row of the history that comes of
    it names the batch (`batch.id`, "kind-time-number") and `why`; `who` is written into `edited_by`. Raises
    ArchiveError with a sentence.
    """
    batch = DatabaseBatch(place, kind, who)
    yield batch
    if batch.statements:
        settings = ((BATCH_SETTING, batch.id), (WHY_SETTING, why))
        place.run((
            *(fill(_SET, setting=setting, value=literal(value)) for setting, value in settings), *batch.statements
        ))


class DatabaseBatch:
    """Rows are added, changed and deleted by layer and key; figures are in the units of the archive.

    Values are Python's: None and NaN are unknown, True is 1. Shapes are plain well-known binary in the CRS of the
    archive. With `expected` a row is only touched if it still has these values, else the whole batch is refused.
    """

    def __init__(self, place: DatabasePlace, kind: str, who: str):
        moment = datetime.datetime.now(datetime.timezone.utc)
        self.id = f"{kind}-{moment:%Y%m%dT%H%M%S}-{uuid.uuid4().hex[:6]}"
        self.place, self.who = place, who
        self.statements: list[str] = []
        self._postgis = quoted(Server.at(place).postgis)
        view = f"{self._postgis}.geometry_columns".replace("{", "{{").replace("}", "}}")
        self._srids = dict(place.rows(_SRIDS.replace("geometry_columns", view), schema=place.schema))

    def row(self, layer: str, key: str) -> dict[str, object] | None:
        """All columns of a row but its place, as the archive has it before the batch; None if there is no such row."""
        found = self.place.rows(fill(_SELECT, table=self._table(layer), row=self._row(layer, key, None)))
        return json.loads(found[0][0]) if found else None

    def insert(self, layer: str, values: Mapping[str, object], shape: bytes | None = None) -> str:
        """Add a row and return its key, which is made up where `values` has none; '' for a table without keys."""
        key = schema_layer(layer).key
        row = {**self._editor(), **values}
        if key is not None and row.get(key.name) is None:
            row[key.name] = str(uuid.uuid4())
        written = self._columns(layer, row, shape)
        columns, given = ", ".join(quoted(name) for name in written), ", ".join(written.values())
        self.statements.append(fill(_INSERT, table=self._table(layer), columns=columns, values=given))
        return str(row[key.name]) if key is not None else ""

    def update(
        self, layer: str, key: str, values: Mapping[str, object], shape: bytes | None = None,
        expected: Mapping[str, object] | None = None,
    ) -> None:
        """Change some fields of the row with this key, and its place where `shape` is given (NO_SHAPE: it has none)."""
        written = self._columns(layer, {**self._editor(), **values}, shape)
        changes = ", ".join(f"{quoted(name)} = {value}" for name, value in written.items())
        statement = fill(_UPDATE, table=self._table(layer), changes=changes, row=self._row(layer, key, expected))
        self._of_one_row(statement, layer, key)

    def delete(self, layer: str, key: str, expected: Mapping[str, object] | None = None) -> None:
        """Delete the row with this key."""
        self._of_one_row(fill(_DELETE, table=self._table(layer), row=self._row(layer, key, expected)), layer, key)

    def _of_one_row(self, statement: str, layer: str, key: str) -> None:
        sentence = changed_meanwhile(schema_layer(layer), key)
        mark = f"row_{uuid.uuid4().hex}"
        self.statements.append(fill(_ONE_ROW, mark=mark, statement=statement, sentence=literal(sentence)))

    def _table(self, layer: str) -> str:
        return table_name(self.place.schema, layer)

    def _editor(self) -> dict[str, object]:
        return {"edited_by": self.who} if self.who else {}

    def _row(self, layer: str, key: str, expected: Mapping[str, object] | None) -> str:
        declared = schema_layer(layer).key
        if declared is None:
            raise KeyError(f"rows of {layer} have no key")
        conditions = [f"{quoted(declared.name)} = {literal(key)}"]
        for name, value in (expected or {}).items():
            if name == GEOMETRY:
                held = f"{self._postgis}.ST_AsBinary({quoted(GEOMETRY)}, 'NDR')"
                conditions.append(f"{held} IS NOT DISTINCT FROM {_binary(value)}")
            else:
                conditions.append(f"{quoted(name)} IS NOT DISTINCT FROM {_sql(value)}")
        return " AND ".join(conditions)

    def _columns(self, layer: str, values: Mapping[str, object], shape: bytes | None) -> dict[str, str]:
        """Column -> value as SQL."""
        known = {field.name for field in schema_layer(layer).fields}
        unknown = [name for name in values if name not in known]
        if unknown:
            raise KeyError(f"{layer} has no field {unknown[0]}")
        written = {name: _sql(value) for name, value in values.items()}
        if shape is not None:
            made = f"{self._postgis}.ST_GeomFromWKB({_binary(shape)}, {self._srids[layer]})"
            written[GEOMETRY] = "NULL" if shape == NO_SHAPE else made
        return written


def changed_meanwhile(layer: Layer, key: str) -> str:
    """What to say where somebody else changed or deleted a row that a batch was about to touch."""
    return f"There is no {layer.one} '{key}' any more as it was when this began: nothing was changed, run again."


def _sql(value: object) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return "NULL"
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, (datetime.date, datetime.datetime)):
        return literal(value.isoformat())
    plain = value.item() if hasattr(value, "item") else value
    return literal(repr(plain) if isinstance(plain, float) else str(plain))


def _binary(value: object) -> str:
    return "NULL" if value is None else f"decode({literal(bytes(value).hex())}, 'hex')"  # type: ignore[arg-type]
