"""Copies an archive from its file into a database: every row with its number, its keys and its history."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from osgeo import gdal, ogr

from ..schema import LAYERS, Layer
from ..schema.postgres import number_column, table_name
from ..schema.rules import literal, quoted
from .archive import open_layer
from .archive_error import ArchiveError
from .archive_info import ArchiveInfo
from .database_archive import create_database_archive
from .database_place import DatabasePlace
from .database_server import Server
from .schema_versions import must_be_current

_ROWS_AT_ONCE = 500
_INSERT = "INSERT INTO {table} ({columns}) VALUES\n{rows}"
_NEXT_NUMBER = "SELECT setval(pg_get_serial_sequence({table}, {column}), {last})"
_ADD_COLUMN = "ALTER TABLE {table} ADD COLUMN {column} {kind}"

# kinds of columns that somebody added to the file
_KIND = {
    ogr.OFTInteger: "integer",
    ogr.OFTInteger64: "bigint",
    ogr.OFTReal: "double precision",
    ogr.OFTDate: "date",
    ogr.OFTDateTime: "timestamp without time zone",
    ogr.OFTBinary: "bytea",
}


def copy_to_database(
    path: Path, place: DatabasePlace, on_rows: Callable[[int, int], None] = lambda done, of_all: None
) -> None:
    """Make an archive in `place` with everything the archive at `path` holds; the file stays as it is.

    `on_rows` is told how many rows of how many are done, and may raise to stop. All or nothing. Raises ArchiveError.
    """
    drains = open_layer(path, "drains")
    about = ArchiveInfo.beside(drains)
    if about.units is None:
        raise ArchiveError(f"{path} does not say its units: is it an archive of Fallkeeper?")
    try:
        source = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY)
    except RuntimeError:  # whether GDAL raises or returns None is a setting of the whole process
        source = None
    if source is None:
        raise ArchiveError(f"{path} cannot be read ({gdal.GetLastErrorMsg()}).")
    must_be_current(drains, str(path))
    rows = _Rows(source, place.schema, on_rows)
    create_database_archive(place, drains.crs(), about.units, fill=rows.statements)


def left_behind(path: Path) -> list[str]:
    """A sentence for each layer of the file that is no part of an archive, and so is not copied."""
    source = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY)
    names = {source.GetLayer(index).GetName() for index in range(source.GetLayerCount())}
    others = names - {layer.name for layer in LAYERS} - {"layer_styles"}
    return [f"The layer '{name}' is no part of an archive: it stays in the file." for name in sorted(others)]


class _Rows:
    """The statements that write the rows of a file."""

    def __init__(self, source: gdal.Dataset, schema: str, on_rows: Callable[[int, int], None]):
        self.source, self.schema, self.on_rows = source, schema, on_rows
        self.shape = ""
        self.of_all = sum(self._table(layer).GetFeatureCount() for layer in LAYERS)
        self.done = 0

    def statements(self, server: Server, srid: int) -> Iterator[str]:
        self.shape = f"{quoted(server.postgis)}.ST_GeomFromWKB(decode(%s, 'hex'), {srid})"
        before = self._changes()
        for layer in LAYERS:
            yield from self._of_layer(layer)
        if self._changes() != before:
            raise ArchiveError(f"Somebody changed {self.source.GetDescription()} while it was copied: run again.")

    def _changes(self) -> tuple:
        """Differs after every change: each leaves a row in the history."""
        found = self.source.ExecuteSQL("SELECT count(seq), max(seq) FROM history")
        row = found.GetNextFeature()
        changes = (row.GetField(0), row.GetField(1))
        self.source.ReleaseResultSet(found)
        return changes

    def _table(self, layer: Layer) -> ogr.Layer:
        table = self.source.GetLayerByName(layer.name)
        if table is None:
            raise ArchiveError(f"{self.source.GetDescription()} has no layer '{layer.name}': is it an archive?")
        return table

    def _of_layer(self, layer: Layer) -> Iterator[str]:
        table, name, number = self._table(layer), table_name(self.schema, layer.name), number_column(layer)
        definition = table.GetLayerDefn()
        fields = [definition.GetFieldDefn(index) for index in range(definition.GetFieldCount())]
        known = {field.name for field in layer.fields}
        for field in fields:
            if field.GetName() not in known:
                kind = _KIND.get(field.GetType(), "text")
                yield _ADD_COLUMN.format(table=name, column=quoted(field.GetName()), kind=kind)
        columns = ", ".join(quoted(column) for column in (number, *(["geom"] if layer.geometry else []),
                                                          *(field.GetName() for field in fields)))
        kinds = [field.GetType() for field in fields]
        rows, last = [], 0
        for feature in table:
            rows.append(self._row(feature, kinds, bool(layer.geometry)))
            last = max(last, feature.GetFID())
            if len(rows) == _ROWS_AT_ONCE:
                yield self._insert(name, columns, rows)
                rows = []
        if rows:
            yield self._insert(name, columns, rows)
        if last:
            yield _NEXT_NUMBER.format(table=literal(name), column=literal(number), last=last)

    def _insert(self, name: str, columns: str, rows: list[str]) -> str:
        self.done += len(rows)
        self.on_rows(self.done, self.of_all)
        return _INSERT.format(table=name, columns=columns, rows=",\n".join(rows))

    def _row(self, feature: ogr.Feature, kinds: list[int], has_place: bool) -> str:
        values = [str(feature.GetFID())]
        if has_place:
            values.append(self._place(feature.GetGeometryRef()))
        values += [_value(feature, index, kind) for index, kind in enumerate(kinds)]
        return f"({', '.join(values)})"

    def _place(self, shape: ogr.Geometry | None) -> str:
        if shape is None:
            return "NULL"
        return self.shape % literal(bytes(shape.ExportToIsoWkb(ogr.wkbNDR)).hex())


def _value(feature: ogr.Feature, index: int, kind: int) -> str:
    """A value as SQL writes it, with all its digits."""
    if not feature.IsFieldSetAndNotNull(index):
        return "NULL"
    if kind in (ogr.OFTInteger, ogr.OFTInteger64):
        return str(feature.GetFieldAsInteger64(index))
    if kind == ogr.OFTReal:
        return f"'{feature.GetFieldAsDouble(index)!r}'"
    if kind in (ogr.OFTDate, ogr.OFTDateTime):
        year, month, day, hour, minute, second, _ = feature.GetFieldAsDateTime(index)
        date = f"{year:04d}-{month:02d}-{day:02d}"
        return f"'{date}'" if kind == ogr.OFTDate else f"'{date} {hour:02d}:{minute:02d}:{second:06.3f}'"
    if kind == ogr.OFTBinary:
        return f"decode('{bytes(feature.GetFieldAsBinary(index)).hex()}', 'hex')"
    return literal(feature.GetFieldAsString(index))
