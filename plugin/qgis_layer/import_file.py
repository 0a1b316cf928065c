"""A file as the engine takes it in: its layers with columns and shapes. Nothing of it is changed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely
from osgeo import gdal, ogr
from qgis.core import QgsCoordinateReferenceSystem

from ..importing.answers import Answers
from ..importing.source import Source, SourceLayer
from ..importing.words import without_markup
from ..schema import LAYERS
from ..units import SYSTEMS
from .import_columns import read_table
from .import_formats import ImportFileError, Opened, opened

TAKEN = ("drains", "structures", "shots")
_NOT_LAYERS = ("layer_styles", "qgis_projects")
_ARCHIVE = frozenset(layer.name for layer in LAYERS)
# what a drawing says about its blocks beside their names
_OF_BLOCKS = ("BlockScale", "BlockAngle", "BlockOCSNormal", "BlockOCSCoords", "Block", "AttributeTag")
_METRES_HIGH = ("KML", "KMZ", "GPX", "GeoJSON")
# values of $INSUNITS in the head of a drawing
_DRAWN_IN = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 21: "us-ft"}


@dataclass(frozen=True)
class ReadFile:
    """What was read, the CRS of each layer (invalid where it has none), and what the file says about itself.

    `drawn_in`: the unit a drawing says it is drawn in. `own_answers`: who made it and when, where the file says so.
    """

    source: Source
    crs: tuple[QgsCoordinateReferenceSystem, ...]
    drawn_in: str = ""
    own_answers: Answers = Answers()


def read_file(
    path: str, layer_name: str, encoding: str, is_canceled: Callable[[], bool], progress: Callable[[float], None]
) -> ReadFile:
    """All layers of a file, or the one called `layer_name`. Raises ImportFileError, ReadStoppedError."""
    with opened(path, encoding) as file:
        dataset = file.dataset
        names = [dataset.GetLayer(k).GetName() for k in range(dataset.GetLayerCount())]
        in_archive_form = {"archive", "drains"} <= set(names)
        wanted = [name for name in names if _is_wanted(name, layer_name, in_archive_form, file)]
        if layer_name and not wanted:
            raise ImportFileError(f"{path} has no layer '{layer_name}': it has {', '.join(names) or 'none'}.")
        left = tuple(
            (name, f"{dataset.GetLayerByName(name).GetFeatureCount():,} rows; only drains, structures and shots are "
             "taken in") for name in names
            if in_archive_form and name in _ARCHIVE and name not in (*TAKEN, "archive", "layouts", "history", "limits")
            and dataset.GetLayerByName(name).GetFeatureCount()
        )  # fmt: skip
        layers, crs = [], []
        for place, name in enumerate(wanted):
            ogr_layer = dataset.GetLayerByName(name)
            layers.append(_layer(ogr_layer, file, in_archive_form, is_canceled))
            crs.append(_crs(ogr_layer))
            progress((place + 1) / len(wanted))
        if file.format.words == "GPX":
            layers = _with_track_names(layers, dataset)
            crs = crs[: len(layers)]  # longitude and latitude, all of them
        about = _about(dataset) if in_archive_form else {}
        said = [*file.said, *_said_of(layers, file)]
        source = Source(path, file.format.words, tuple(layers), tuple(said), about.get("units", ""),
                        about.get("vertical_datum", ""), left)  # fmt: skip
        own = _layout_of(dataset) if in_archive_form else Answers()
        return ReadFile(source, tuple(crs), _drawn_in(path, file), own)


def _is_wanted(name: str, asked: str, in_archive_form: bool, file: Opened) -> bool:
    if asked:
        return name == asked
    if name in _NOT_LAYERS or (file.format.words == "DXF drawing" and name == "blocks"):
        return False
    if file.format.words == "GPX":
        # tracks come with their points, which know when and how high
        return name in ("waypoints", "routes", "track_points")
    return name in TAKEN if in_archive_form else True


def _layer(layer: ogr.Layer, file: Opened, in_archive_form: bool, is_canceled: Callable[[], bool]) -> SourceLayer:
    read = read_table(layer, is_canceled, _OF_BLOCKS)
    values, words = read.values, file.format.words
    if words in ("KML", "KMZ"):
        values = {name: _plain(column) for name, column in values.items()}
    number, row_word = read.number, "feature"
    if file.table is not None:
        row_word = "row"
        number = np.arange(1, len(read.number) + 1)
        if len(file.table.line) == len(number):
            row_word, number = "line", np.array(file.table.line)
    # of a table the engine makes shapes from its columns, for which it knows more names
    shapes = read.shapes if file.table is None else np.full(len(read.number), None, dtype=object)
    shapes[shapely.is_empty(shapes)] = None
    return SourceLayer(
        layer.GetName() if file.table is None else "table", values, shapes, number, row_word,
        fields_sure=in_archive_form, height_unit="m" if words in _METRES_HIGH else "",
    )  # fmt: skip


def _plain(column: np.ndarray) -> np.ndarray:
    """Descriptions of placemarks without their markup."""
    if column.dtype != object:
        return column
    return np.array([None if value is None else without_markup(value) or None for value in column], dtype=object)


def _crs(layer: ogr.Layer) -> QgsCoordinateReferenceSystem:
    reference = layer.GetSpatialRef()
    if reference is None:
        return QgsCoordinateReferenceSystem()
    authority, code = reference.GetAuthorityName(None), reference.GetAuthorityCode(None)
    found = QgsCoordinateReferenceSystem(f"{authority}:{code}") if authority and code else None
    if found is None or not found.isValid():
        found = QgsCoordinateReferenceSystem.fromWkt(reference.ExportToWkt(["FORMAT=WKT2_2018"]))
    return found


def _with_track_names(layers: list[SourceLayer], dataset: gdal.Dataset) -> list[SourceLayer]:
    """Points of tracks with the names of their tracks, and without the columns that are empty."""
    tracks = dataset.GetLayerByName("tracks")
    name = {feature.GetFID(): feature.GetField("name") for feature in tracks} if tracks is not None else {}
    made = []
    for layer in layers:
        values = {k: v for k, v in layer.values.items() if not _empty(v)}
        if layer.name == "track_points" and len(layer):
            values["name"] = np.array([name.get(int(fid)) for fid in layer.values["track_fid"]], dtype=object)
        made.append(replace(layer, values=values))
    made = [layer for layer in made if len(layer)]
    return [replace(layer, beside_lines=layer.name == "waypoints" and len(made) > 1) for layer in made]


def _empty(column: np.ndarray) -> bool:
    return bool(np.equal(column, None).all() if column.dtype == object else np.isnan(column).all())


def _about(dataset: gdal.Dataset) -> dict[str, str]:
    """Units and vertical datum of a file in archive form."""
    table = dataset.GetLayerByName("archive")
    table.ResetReading()
    row = table.GetNextFeature()
    if row is None:
        return {}
    units, datum = row.GetField("units"), row.GetField("vertical_datum")
    return {"units": units if units in SYSTEMS else "", "vertical_datum": datum or ""}


def _layout_of(dataset: gdal.Dataset) -> Answers:
    """Who made a layout and when, where a file in archive form holds one."""
    table = dataset.GetLayerByName("layouts")
    if table is None or table.GetFeatureCount() != 1:
        return Answers()
    table.ResetReading()
    row = table.GetNextFeature()
    made_on = row.GetFieldAsString("made_on").replace("/", "-")
    return Answers(made_by=row.GetField("made_by") or "", made_on=made_on,
                   source_kind=row.GetField("source_kind") or "")


def _said_of(layers: list[SourceLayer], file: Opened) -> list[str]:
    said = []
    complaint = file.complaints.last
    rows = sum(len(layer) for layer in layers)
    if complaint:
        said.append(
            f"Reading met a fault in the file ({complaint}): {rows:,} rows could be read; compare with the sender."
        )
    if file.table is not None and file.table.before:
        first = file.table.before[0][:60]
        said.append(f"{len(file.table.before):,} lines above the table were passed over: '{first}'.")
    return said


def _drawn_in(path: str, file: Opened) -> str:
    """The unit a drawing says it is drawn in, "" where it does not."""
    if file.format.words != "DXF drawing":
        return ""
    with Path(path).open("rb") as held:
        found = re.search(rb"\$INSUNITS\s+70\s+(\d+)", held.read(1 << 16))
    return _DRAWN_IN.get(int(found[1]), "") if found else ""
