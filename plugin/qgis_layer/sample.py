"""The sample: its rows for a new archive, and its files as a copy to try things on."""

from __future__ import annotations

import shutil
from pathlib import Path

from osgeo import gdal, ogr
from qgis.core import QgsCoordinateReferenceSystem, QgsCoordinateTransform, QgsGeometry, QgsPointXY, QgsProject

from ...sample_project import rows
from ..schema import Layer, layer
from ..units import US, US_SURVEY_FOOT_M, Units
from .archive import ArchiveError

SAMPLE_FOLDER = Path(rows.__file__).parent
PROJECT_FILE = "ossel_flats.qgz"
_COPIED = ("*.qgz", "*.gpkg", "*.tif")


def copy_sample(folder: Path) -> Path:
    """Copy the sample's files into `folder` and return the project among them; ArchiveError if one is there already.

    The sample is never opened where the plugin lies: the first edit would change the shipped file.
    """
    files = sorted(path for pattern in _COPIED for path in SAMPLE_FOLDER.glob(pattern))
    there = [path.name for path in files if (folder / path.name).exists()]
    if there:
        raise ArchiveError(f"{folder} already holds {there[0]}: nothing is overwritten. Choose an empty folder.")
    folder.mkdir(parents=True, exist_ok=True)
    for path in files:
        shutil.copyfile(path, folder / path.name)
    return folder / PROJECT_FILE


def fill_with_sample(path: Path, crs: QgsCoordinateReferenceSystem, units: str) -> None:
    """Write the rows of the sample into the empty archive at `path`, in its CRS and units."""
    to_crs = QgsCoordinateTransform(
        QgsCoordinateReferenceSystem(rows.CRS), crs, QgsProject.instance().transformContext()
    )
    source = ogr.Open(str(path), gdal.GA_Update)
    source.StartTransaction()
    source.ExecuteSQL("UPDATE history_note SET batch = 'sample', why = 'The sample was written into the archive.'")
    for name, layer_rows in rows.layer_rows().items():
        declared, table = layer(name), source.GetLayerByName(name)
        for row in layer_rows:
            feature = ogr.Feature(table.GetLayerDefn())
            for field, value in row.values.items():
                if value is not None:
                    feature[field] = _stored(declared, field, value, units)
            if row.places is not None:
                shape = _geometry(declared, row.places)
                shape.transform(to_crs)
                feature.SetGeometry(ogr.CreateGeometryFromWkb(bytes(shape.asWkb())))
            _write(feature, table, path)
    source.ExecuteSQL("UPDATE history_note SET batch = NULL, why = NULL")
    source.CommitTransaction()


def _write(feature: ogr.Feature, table: ogr.Layer, path: Path) -> None:
    why = ""
    try:
        written = table.CreateFeature(feature) == ogr.OGRERR_NONE
    except RuntimeError as error:  # whether GDAL raises or returns a code is a setting of the whole process
        written, why = False, str(error)
    if not written:
        raise ArchiveError(f"The sample cannot be written to {path}: {why or gdal.GetLastErrorMsg()}")


def _stored(declared: Layer, field: str, value: object, units: str) -> object:
    if isinstance(value, bool):
        return int(value)
    kind = declared.field(field).unit
    if units == US or not kind:
        return value
    size = Units(US, US_SURVEY_FOOT_M).size_si(kind) / Units(units).size_si(kind)
    return round(float(value) * size, 6)  # type: ignore[arg-type]


def _geometry(declared: Layer, places: object) -> QgsGeometry:
    if declared.geometry == "Point":
        return QgsGeometry.fromPointXY(_point(places))
    if declared.geometry == "LineString":
        return QgsGeometry.fromPolylineXY([_point(place) for place in places])  # type: ignore[attr-defined]
    return QgsGeometry.fromPolygonXY([[_point(place) for place in ring] for ring in places])  # type: ignore[attr-defined]


def _point(place: object) -> QgsPointXY:
    x, y = place  # type: ignore[misc]
    return QgsPointXY(rows.ORIGIN_FT[0] + x, rows.ORIGIN_FT[1] + y)
