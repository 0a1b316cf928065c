"""Makes an archive: one GeoPackage with every layer, rule, form and style."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

from osgeo import gdal, ogr, osr
from qgis.core import QgsCoordinateReferenceSystem, QgsVectorLayer

from ..schema import LAYERS, SCHEMA_VERSION, Field, Layer
from ..schema.history import HISTORY
from ..schema.sqlite import triggers
from ..schema.sqlite_history import NOTE_ROW, NOTE_TABLE
from ..units import FOOT_M, METRIC, US, Units
from .archive_error import ArchiveError
from .archive_styles import dress
from .crs import unit_m
from .database_place import DatabasePlace

# GeoPackage 1.2 is read and written by every QGIS from 3.22 on.
_GEOPACKAGE_VERSION = "1.2"

_OGR_KIND = {
    "text": ogr.OFTString,
    "real": ogr.OFTReal,
    "integer": ogr.OFTInteger64,
    # 1 and 0: for a true boolean QGIS 3.22 has only a box to tick, which shows unknown as no
    "boolean": ogr.OFTInteger,
    "date": ogr.OFTDate,
    "datetime": ogr.OFTDateTime,
}
_OGR_GEOMETRY = {
    "": ogr.wkbNone,
    "Point": ogr.wkbPoint,
    "LineString": ogr.wkbLineString,
    "Polygon": ogr.wkbPolygon,
}


def unit_system(crs: QgsCoordinateReferenceSystem) -> str:
    """"us" for a CRS in feet, "metric" for one in metres; ArchiveError if it has neither."""
    if not crs.isValid():
        raise ArchiveError("No coordinate reference system is given: choose the one your maps are in.")
    if crs.isGeographic():
        raise ArchiveError(
            f"{crs.userFriendlyIdentifier()} is in degrees, and lengths and areas need feet or metres: "
            "choose a projected coordinate reference system, such as the State Plane or UTM zone of your county."
        )
    size_m = unit_m(crs)
    if abs(size_m - FOOT_M) < 1e-5:
        return US
    if size_m == 1.0:
        return METRIC
    raise ArchiveError(
        f"{crs.userFriendlyIdentifier()} counts in neither feet nor metres: "
        "choose a coordinate reference system that does."
    )


def create_archive(
    path: Path,
    crs: QgsCoordinateReferenceSystem,
    units: str = "",
    name: str = "",
    created_on: datetime.date | None = None,
    fill: Callable[[ogr.DataSource], None] | None = None,
) -> None:
    """Make an empty archive at `path` in planar `crs`; `units` is "us", "metric" or "" for those of the CRS.

    `fill` writes rows of an archive that is copied, with their history and the row about the archive, before any
    trigger is there. An existing file is replaced only if it is an archive without a row. Raises ArchiveError.
    """
    of_crs = unit_system(crs)
    units = units or of_crs
    make_way(path)
    try:
        _write_layers(path, crs, fill)
        if fill is None:
            _write_archive_row(path, units, name or path.stem, created_on or datetime.date.today())
        _write_forms_and_styles(path, Units(units))
    except Exception:
        _remove(path)
        raise


def make_way(path: Path) -> None:
    """Remove an archive without a row at `path`; ArchiveError if anything else is there."""
    if not path.parent.is_dir():
        raise ArchiveError(f"The folder {path.parent} does not exist: choose another one.")
    if not path.exists():
        return
    held = rows_held(path)
    if held is None:
        raise ArchiveError(f"{path} exists and is no archive of Fallkeeper: choose another file name.")
    if held:
        layer, count = next(iter(held.items()))
        raise ArchiveError(
            f"{path} is an archive that already holds rows ({count} in {layer}): nothing is overwritten. "
            "Choose another file name."
        )
    _remove(path)


def rows_held(path: Path) -> dict[str, int] | None:
    """Layer -> number of rows, for layers that hold any (what is about the archive aside); None: no archive."""
    try:
        source = ogr.Open(str(path)) if path.stat().st_size else None
    except RuntimeError:  # whether GDAL raises or returns None is a setting of the whole process
        source = None
    if source is None:
        return None
    counts = {}
    for layer in LAYERS:
        table = source.GetLayerByName(layer.name)
        if table is None:
            return None
        if layer.name == HISTORY:
            table.SetAttributeFilter("layer <> 'archive'")
        if layer.name != "archive" and table.GetFeatureCount():
            counts[layer.name] = table.GetFeatureCount()
    return counts


def _close(source: ogr.DataSource) -> None:
    """Let go of the file now, though whoever filled it is still named in a traceback. From GDAL 3.8 on."""
    if hasattr(source, "Close"):
        source.Close()


def _remove(path: Path) -> None:
    for ending in ("", "-wal", "-shm", "-journal"):
        part = path.with_name(path.name + ending)
        try:
            part.unlink(missing_ok=True)
        except OSError as fault:
            raise ArchiveError(
                f"{part} is in use and cannot be replaced: close it, or choose another file name."
            ) from fault


def _write_layers(
    path: Path, crs: QgsCoordinateReferenceSystem, fill: Callable[[ogr.DataSource], None] | None
) -> None:
    reference = osr.SpatialReference()
    reference.SetFromUserInput(crs.authid() or crs.toWkt(QgsCoordinateReferenceSystem.WktVariant.WKT2_2019))
    try:
        source = ogr.GetDriverByName("GPKG").CreateDataSource(str(path), [f"VERSION={_GEOPACKAGE_VERSION}"])
    except RuntimeError:  # as above
        source = None
    if source is None:
        raise ArchiveError(f"{path} cannot be written ({gdal.GetLastErrorMsg()}): choose another folder.")
    for layer in LAYERS:
        _write_layer(source, layer, reference)
    if fill is not None:
        try:
            fill(source)
        except BaseException:
            _close(source)
            raise
    made = (trigger for layer in LAYERS for trigger in triggers(layer, _columns(source.GetLayerByName(layer.name))))
    for statement in (NOTE_TABLE, NOTE_ROW, *made):
        source.ExecuteSQL(statement)


def _columns(table: ogr.Layer) -> tuple[str, ...]:
    """All columns of a table, in their order: its number, its geometry, its fields."""
    definition = table.GetLayerDefn()
    fields = (definition.GetFieldDefn(index).GetName() for index in range(definition.GetFieldCount()))
    return (table.GetFIDColumn(), *filter(None, [table.GetGeometryColumn()]), *fields)


def _write_layer(source: ogr.DataSource, layer: Layer, reference: object) -> None:
    options = ["FID=seq"] if layer.name == HISTORY else ["FID=fid"]
    options += [f"IDENTIFIER={layer.title}", f"DESCRIPTION={layer.meaning}"]
    if layer.geometry:
        options += ["GEOMETRY_NAME=geom", "SPATIAL_INDEX=YES"]
        options += ["GEOMETRY_NULLABLE=NO"] if layer.place_required else []
    table = source.CreateLayer(
        layer.name, reference if layer.geometry else None, _OGR_GEOMETRY[layer.geometry], options
    )
    for field in layer.fields:
        if field.name != "seq":
            table.CreateField(_definition(field))


def _definition(field: Field) -> ogr.FieldDefn:
    definition = ogr.FieldDefn(field.name, _OGR_KIND[field.kind])
    definition.SetNullable(not field.required)
    if field.key:
        # no SQL default: OGR writes only constants and times, so forms bring the key of a new row
        definition.SetUnique(True)
    return definition


def _write_archive_row(path: Path, units: str, name: str, created_on: datetime.date) -> None:
    source = ogr.Open(str(path), gdal.GA_Update)
    table = source.GetLayerByName("archive")
    row = ogr.Feature(table.GetLayerDefn())
    row["name"], row["units"], row["schema_version"] = name, units, SCHEMA_VERSION
    row["created_on"] = created_on.isoformat()
    table.CreateFeature(row)


def _write_forms_and_styles(path: Path, units: Units) -> None:
    """Save form and symbols of every layer as its default style, one layer at a time.

    QGIS looks a style up by the table's name; a style saved under another name would never load.
    """
    for declared in LAYERS:
        layer = open_layer(path, declared.name)
        dress(layer, declared.name, units)
        fault = layer.saveStyleToDatabase("default", "Form and symbols of the archive", True, "")
        if fault:
            raise ArchiveError(f"The style of the layer {declared.name} cannot be saved in {path}: {fault}")


def open_layer(place: Path | DatabasePlace, name: str) -> QgsVectorLayer:
    """The layer `name` of an archive under its title; ArchiveError if it cannot be opened."""
    if isinstance(place, DatabasePlace):
        return place.open_layer(name)
    title = next((declared.title for declared in LAYERS if declared.name == name), name)
    layer = QgsVectorLayer(f"{place}|layername={name}", title, "ogr")
    if not layer.isValid():
        raise ArchiveError(f"{place} has no layer '{name}' that QGIS can open: is it an archive of Fallkeeper?")
    return layer
