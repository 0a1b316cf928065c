"""Makes a copy of an archive for the field: one GeoPackage and a project, both of use on a phone without the plugin.

No triggers and no rules in the file, so that whatever app is used can save; what comes back is looked at instead.
Forms, value lists and symbols are stored in it as QGIS's default styles.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable, Sequence
from pathlib import Path

from osgeo import gdal, ogr, osr
from qgis.core import NULL, QgsFeature, QgsFeatureRequest, QgsProject, QgsRectangle, QgsVectorLayer

from ..schema import LAYERS, SCHEMA_VERSION, Layer
from ..schema import layer as schema_layer
from ..schema.history import GEOMETRY
from ..schema.rules import fill, literal
from ..sharing.field_copy import ABOUT_SQL, ABOUT_TABLE, BASE_SQL, BASE_TABLE, AboutCopy, pack
from ..units import Units
from .archive import open_layer
from .archive_error import ArchiveError
from .archive_info import ArchiveInfo
from .archive_styles import dress
from .database_place import DatabasePlace
from .history_layer import last_number
from .project import add_archive, set_up_editing
from .row_values import plain_feature
from .schema_versions import must_be_current

_KIND = {
    "text": ogr.OFTString, "real": ogr.OFTReal, "integer": ogr.OFTInteger64, "boolean": ogr.OFTInteger,
    "date": ogr.OFTDate, "datetime": ogr.OFTDateTime,
}
_GEOMETRY = {"": ogr.wkbNone, "Point": ogr.wkbPoint, "LineString": ogr.wkbLineString, "Polygon": ogr.wkbPolygon}
_KEEP = "INSERT INTO {table} VALUES ({values})"
_GEOPACKAGE_VERSION = "1.2"


def make_field_copy(
    place: Path | DatabasePlace,
    path: Path,
    names: Sequence[str],
    extent: QgsRectangle | None = None,
    on_rows: Callable[[int, int], None] = lambda done, of_all: None,
) -> dict[str, int]:
    """Write the layers `names` of an archive to the new file `path` and return how many rows of each.

    `extent` (in the archive's CRS): only what touches it; tables without places are taken whole. `on_rows` may raise to
    stop. All or nothing. Raises ArchiveError.
    """
    for there in (path, project_of(path)):
        if there.exists():
            raise ArchiveError(f"{there} exists already: nothing is overwritten. Choose another file name.")
    drains = open_layer(place, "drains")
    must_be_current(drains, str(place))
    about = _about(place, drains, tuple(names))
    try:
        counts = _write(place, path, about, extent, on_rows)
        for name in names:
            opened = open_layer(path, name)
            dress(opened, name, Units(about.units))
            opened.saveStyleToDatabase("default", "Form and symbols of the archive", True, "")
    except BaseException:
        for ending in ("", "-wal", "-shm", "-journal"):
            path.with_name(path.name + ending).unlink(missing_ok=True)
        raise
    return counts


def project_of(path: Path) -> Path:
    """The project that goes with a copy: beside it, since photos are kept relative to it."""
    return path.with_suffix(".qgz")


def store_field_project(path: Path, names: Sequence[str]) -> None:
    """Write the project of a copy. To be called on the main thread."""
    project = QgsProject()
    layers = add_archive(project, path, leave_out=tuple(layer.name for layer in LAYERS if layer.name not in names))
    project.setCrs(next((opened.crs() for opened in layers.values() if opened.isSpatial()), project.crs()))
    project.setTitle(path.stem)
    set_up_editing(project, layers)
    if not project.write(str(project_of(path))):
        raise ArchiveError(f"The project of the copy cannot be written: {project.error()}")
    project.clear()


def identity_of(place: Path | DatabasePlace) -> tuple[str, str]:
    """Name and day of creation of an archive, which it keeps wherever it moves."""
    row = next(open_layer(place, "archive").getFeatures())
    name, day = row["name"], row["created_on"]
    return ("" if name == NULL else str(name)), ("" if day == NULL else day.toString("yyyy-MM-dd"))


def _about(place: Path | DatabasePlace, drains: QgsVectorLayer, names: tuple[str, ...]) -> AboutCopy:
    units = ArchiveInfo.beside(drains).units
    if units is None:
        raise ArchiveError(f"{place} does not say its units: is it an archive of Fallkeeper?")
    name, created_on = identity_of(place)
    now = datetime.datetime.now(datetime.timezone.utc).isoformat(timespec="seconds")
    seq = last_number(open_layer(place, "history"))
    crs = drains.crs().authid()
    return AboutCopy(str(uuid.uuid4()), name, created_on, units, crs, SCHEMA_VERSION, seq, now, names)


def _write(
    place: Path | DatabasePlace, path: Path, about: AboutCopy, extent: QgsRectangle | None,
    on_rows: Callable[[int, int], None],
) -> dict[str, int]:
    try:
        target = ogr.GetDriverByName("GPKG").CreateDataSource(str(path), [f"VERSION={_GEOPACKAGE_VERSION}"])
    except RuntimeError:  # whether GDAL raises or returns None is a setting of the whole process
        target = None
    if target is None:
        raise ArchiveError(f"{path} cannot be written ({gdal.GetLastErrorMsg()}): choose another folder.")
    layers = {name: open_layer(place, name) for name in about.layers}
    tables = {name: _table(target, schema_layer(name), opened) for name, opened in layers.items()}
    of_all, counts = sum(opened.featureCount() for opened in layers.values()), {}
    target.StartTransaction()
    for statement in (ABOUT_SQL, BASE_SQL, fill(_KEEP, table=ABOUT_TABLE, values=literal(about.packed()))):
        target.ExecuteSQL(statement)
    for name, opened in layers.items():
        counts[name] = 0
        for row in opened.getFeatures(_request(opened, extent)):
            _keep(target, tables[name], schema_layer(name), row)
            counts[name] += 1
            if sum(counts.values()) % 200 == 0:
                on_rows(sum(counts.values()), of_all)
    target.CommitTransaction()
    if last_number(open_layer(place, "history")) != about.seq:
        raise ArchiveError(f"Somebody changed {place} while it was copied: run again. No file was made.")
    return counts


def _request(opened: QgsVectorLayer, extent: QgsRectangle | None) -> QgsFeatureRequest:
    request = QgsFeatureRequest()
    if extent is not None and not extent.isNull() and opened.isSpatial():
        request.setFilterRect(extent).setFlags(QgsFeatureRequest.Flag.ExactIntersect)
    return request


def _table(target: ogr.DataSource, declared: Layer, opened: QgsVectorLayer) -> ogr.Layer:
    """A table whose file refuses nothing: no field has to be filled in."""
    reference = None
    if declared.geometry:
        reference = osr.SpatialReference()
        reference.SetFromUserInput(opened.crs().authid() or opened.crs().toWkt())
    options = ["FID=fid", f"IDENTIFIER={declared.title}", f"DESCRIPTION={declared.meaning}"]
    options += ["GEOMETRY_NAME=geom", "SPATIAL_INDEX=YES"] if declared.geometry else []
    table = target.CreateLayer(declared.name, reference, _GEOMETRY[declared.geometry], options)
    for field in declared.fields:
        table.CreateField(ogr.FieldDefn(field.name, _KIND[field.kind]))
    return table


def _keep(target: ogr.DataSource, table: ogr.Layer, declared: Layer, row: QgsFeature) -> None:
    """Write a row, and beside it what it is now."""
    plain = plain_feature(row, declared)
    written = ogr.Feature(table.GetLayerDefn())
    for name, value in plain.items():
        if name == GEOMETRY:
            written.SetGeometry(None if value is None else ogr.CreateGeometryFromWkb(value))
        elif value is not None:
            written.SetField(name, value.isoformat() if isinstance(value, datetime.datetime) else value)
    table.CreateFeature(written)
    values = ", ".join(literal(words) for words in (declared.name, str(plain[declared.key.name]), pack(plain)))
    target.ExecuteSQL(fill(_KEEP, table=BASE_TABLE, values=values))
