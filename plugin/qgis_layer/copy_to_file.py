"""Copies an archive from a database into a file: every row with its number, its keys and its history."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from osgeo import gdal, ogr
from qgis.core import NULL, QgsFeature, QgsField, QgsVectorLayer
from qgis.PyQt.QtCore import QByteArray, QDate, QDateTime, QVariant

from ..schema import LAYERS, SCHEMA_VERSION, Layer
from ..schema.postgres import number_column, table_name
from ..schema.rules import fill
from .archive import create_archive
from .archive_error import ArchiveError
from .archive_info import ArchiveInfo
from .database_place import DatabasePlace
from .schema_versions import must_be_known

# every step from one schema version to the next only adds layers and fields
_TABLES = "SELECT table_name FROM information_schema.tables WHERE table_schema = {schema}"
_BROUGHT_UP = "UPDATE archive SET schema_version = {version}"
_CHANGES = "SELECT count(seq), max(seq) FROM {history}"

# kinds of columns that somebody added to the database; all others become text
_OGR_KIND = {
    QVariant.Int: ogr.OFTInteger,
    QVariant.LongLong: ogr.OFTInteger64,
    QVariant.Double: ogr.OFTReal,
    QVariant.Date: ogr.OFTDate,
    QVariant.DateTime: ogr.OFTDateTime,
    QVariant.ByteArray: ogr.OFTBinary,
}


def copy_to_file(
    place: DatabasePlace, path: Path, on_rows: Callable[[int, int], None] = lambda done, of_all: None
) -> None:
    """Make an archive at `path` with everything the archive in `place` holds; the database stays as it is.

    The file has the schema version of this plugin, also where the database has an older one.
    `on_rows` is told how many rows of how many are done, and may raise to stop. All or nothing. Raises ArchiveError,
    also if somebody changed the archive meanwhile: the copy would hold part of the change.
    """
    drains = place.open_layer("drains")
    about = ArchiveInfo.beside(drains)
    if about.units is None:
        raise ArchiveError(f"{place} does not say its units: is it an archive of Fallkeeper?")
    is_older = must_be_known(drains, str(place)) < SCHEMA_VERSION
    create_archive(path, drains.crs(), about.units, fill=_Copy(place, is_older, on_rows).into)


class _Copy:
    """Writes the rows of a database into the tables of a new file."""

    def __init__(self, place: DatabasePlace, is_older: bool, on_rows: Callable[[int, int], None]):
        self.place, self.is_older, self.on_rows = place, is_older, on_rows
        self.done = self.of_all = 0

    def into(self, target: gdal.Dataset) -> None:
        before = self._changes()
        layers = {declared: self.place.open_layer(declared.name) for declared in self._declared()}
        self.of_all = sum(opened.featureCount() for opened in layers.values())
        target.StartTransaction()
        for declared, opened in layers.items():
            self._copy(declared, opened, target.GetLayerByName(declared.name))
        target.ExecuteSQL(fill(_BROUGHT_UP, version=str(SCHEMA_VERSION)))
        target.CommitTransaction()
        if self._changes() != before:
            raise ArchiveError(f"Somebody changed {self.place} while it was copied: run again. No file was made.")

    def _declared(self) -> list[Layer]:
        """The layers to copy: those an older archive does not have yet stay empty."""
        if not self.is_older:
            return list(LAYERS)
        there = {name for (name,) in self.place.rows(_TABLES, schema=self.place.schema)}
        return [declared for declared in LAYERS if declared.name in there]

    def _changes(self) -> list:
        """Differs after every change: each leaves a row in the history."""
        return self.place.rows(fill(_CHANGES, history=table_name(self.place.schema, "history")))

    def _copy(self, declared: Layer, opened: QgsVectorLayer, table: ogr.Layer) -> None:
        number = number_column(declared)
        columns = [field for field in opened.fields() if field.name() != number]
        known = {field.name for field in declared.fields}
        for column in columns:
            if column.name() not in known:
                table.CreateField(_definition(column))
        places = {column.name(): table.GetLayerDefn().GetFieldIndex(column.name()) for column in columns}
        for row in opened.getFeatures():
            table.CreateFeature(_written(row, number, places, table))
            self.done += 1
            if self.done % 500 == 0 or self.done == self.of_all:
                self.on_rows(self.done, self.of_all)


def _definition(column: QgsField) -> ogr.FieldDefn:
    return ogr.FieldDefn(column.name(), _OGR_KIND.get(column.type(), ogr.OFTString))


def _written(row: QgsFeature, number: str, places: dict[str, int], table: ogr.Layer) -> ogr.Feature:
    written = ogr.Feature(table.GetLayerDefn())
    written.SetFID(row[number])
    for name, index in places.items():
        _set(written, index, row[name])
    if row.hasGeometry():
        written.SetGeometry(ogr.CreateGeometryFromWkb(bytes(row.geometry().asWkb())))
    return written


def _set(written: ogr.Feature, index: int, value: object) -> None:
    if value is None or value == NULL:
        return
    if isinstance(value, QDate):
        written.SetField(index, value.year(), value.month(), value.day(), 0, 0, 0.0, 0)
    elif isinstance(value, QDateTime):
        day, time = value.date(), value.time()
        second = time.second() + time.msec() / 1000
        written.SetField(index, day.year(), day.month(), day.day(), time.hour(), time.minute(), second, 0)
    elif isinstance(value, QByteArray):
        written.SetFieldBinaryFromHexString(index, bytes(value.toHex()).decode("ascii"))
    else:
        written.SetField(index, value)
