"""Columns and shapes of one layer that OGR opened: all at once where it can, else feature by feature."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass

import numpy as np
import pandas
import shapely
from osgeo import gdal, ogr

_TEXT = (ogr.OFTString,)
_FIGURE = (ogr.OFTInteger, ogr.OFTInteger64, ogr.OFTReal)
_MOMENT = (ogr.OFTDate, ogr.OFTDateTime)
_IN_A_BATCH = 10_000  # words of a batch are as wide as its longest
_NUMBER, _SHAPE = "OGC_FID", "wkb_geometry"


class ReadStoppedError(Exception):
    """The user stopped the reading."""


@dataclass(frozen=True)
class Table:
    """Columns by the layer's own names (text with None, figures with NaN), shapes, and the features' numbers."""

    values: dict[str, np.ndarray]
    shapes: np.ndarray
    number: np.ndarray


def read_table(layer: ogr.Layer, is_canceled: Callable[[], bool], without: tuple[str, ...] = ()) -> Table:
    """All rows of a layer; `without` names fields that are not wanted. Raises ReadStoppedError."""
    definition = layer.GetLayerDefn()
    kinds = {f.GetName(): f.GetType() for f in (definition.GetFieldDefn(k) for k in range(definition.GetFieldCount()))}
    kinds = {name: kind for name, kind in kinds.items() if name not in without}
    straight = definition.GetGeomFieldCount() < 2 and not _may_be_curved(layer.GetGeomType())
    known = all(kind in (*_TEXT, *_FIGURE, *_MOMENT) for kind in kinds.values())
    if hasattr(layer, "GetArrowStreamAsNumPy") and straight and known:
        read = _in_bulk(layer, kinds, is_canceled)
        if read is not None:
            return read
    return _by_feature(layer, kinds, is_canceled)


def _may_be_curved(kind: int) -> bool:
    return bool(ogr.GT_IsNonLinear(kind)) or ogr.GT_Flatten(kind) in (ogr.wkbUnknown, ogr.wkbGeometryCollection)


def _in_bulk(layer: ogr.Layer, kinds: dict[str, int], is_canceled: Callable[[], bool]) -> Table | None:
    """None where this GDAL gives no such stream, or one with letters that are no UTF-8."""
    number, shape = layer.GetFIDColumn() or _NUMBER, layer.GetGeometryColumn() or _SHAPE
    has_shape = layer.GetGeomType() != ogr.wkbNone
    batches = []
    try:
        for batch in layer.GetArrowStreamAsNumPy([f"MAX_FEATURES_IN_BATCH={_IN_A_BATCH}"]):
            if is_canceled():
                raise ReadStoppedError
            batches.append(batch)
        if not batches or any(name not in batches[0] for name in (number, *kinds, *([shape] if has_shape else []))):
            return None
        values = {name: _column(kind, [batch[name] for batch in batches]) for name, kind in kinds.items()}
    except (RuntimeError, UnicodeDecodeError):  # GDAL raises where something in the process has asked it to
        return None
    numbers = np.concatenate([np.asarray(batch[number]) for batch in batches])
    shapes = np.full(len(numbers), None, dtype=object)
    if has_shape:
        wkb = np.concatenate([_objects(batch[shape]) for batch in batches])
        shapes = shapes_of(wkb)
    return Table(values, shapes, numbers)


def _column(kind: int, parts: list[np.ndarray]) -> np.ndarray:
    if kind in _FIGURE:
        return np.concatenate([
            np.where(np.ma.getmaskarray(part), np.nan, np.ma.getdata(part).astype(float)) for part in parts
        ])
    if kind in _MOMENT:
        moments = [np.where(np.ma.getmaskarray(part), np.datetime64("NaT"), np.ma.getdata(part)) for part in parts]
        texts = np.datetime_as_string(np.concatenate(moments).astype("datetime64[ms]"), unit="auto")
        return np.where(texts == "NaT", None, texts.astype(object))
    words = np.concatenate([_objects(part) for part in parts])
    code, found = pandas.factorize(words)
    kept = [one.decode("utf-8") if isinstance(one, bytes) else str(one) for one in found]
    kept = [one.rstrip("\x00") or None for one in kept]
    return np.array([*kept, None], dtype=object)[code]


def _objects(column: np.ndarray) -> np.ndarray:
    values = np.ma.getdata(column).astype(object)
    values[np.ma.getmaskarray(column)] = None
    return values


def shapes_of(wkb: np.ndarray) -> np.ndarray:
    """Shapes from well-known binary, None for what is none; of coordinates that are no numbers nothing is warned."""
    with np.errstate(invalid="ignore", over="ignore"):
        return shapely.from_wkb(wkb, on_invalid="ignore")


def _by_feature(layer: ogr.Layer, kinds: dict[str, int], is_canceled: Callable[[], bool]) -> Table:
    """One feature after the other; arcs become many short straights."""
    definition = layer.GetLayerDefn()
    places = [(definition.GetFieldIndex(name), kind) for name, kind in kinds.items()]
    rows, wkb, numbers = [], [], []
    layer.ResetReading()
    while True:
        try:
            feature = layer.GetNextFeature()
        except RuntimeError:  # the rest of the file is broken; what GDAL says of it is told by the caller
            break
        if feature is None:
            break
        if not len(numbers) % 1000 and is_canceled():
            raise ReadStoppedError
        rows.append([_value(feature, place, kind) for place, kind in places])
        numbers.append(feature.GetFID())
        wkb.append(_wkb(feature.GetGeometryRef()))
    by_column = list(zip(*rows)) or [()] * len(kinds)
    values = {
        name: np.array(column, dtype=float if kind in _FIGURE else object)
        for (name, kind), column in zip(kinds.items(), by_column)
    }
    shapes = np.full(len(numbers), None, dtype=object)
    if numbers:
        shapes[:] = shapes_of(np.array([*wkb, None], dtype=object))[:-1]
    return Table(values, shapes, np.array(numbers, dtype=np.int64))


def _value(feature: ogr.Feature, place: int, kind: int) -> object:
    if not feature.IsFieldSetAndNotNull(place):
        return np.nan if kind in _FIGURE else None
    if kind in _FIGURE:
        return feature.GetFieldAsDouble(place)
    if kind in _MOMENT:
        year, month, day, hour, minute, second, _ = feature.GetFieldAsDateTime(place)
        date = f"{year:04d}-{month:02d}-{day:02d}"
        return date if kind == ogr.OFTDate else f"{date}T{hour:02d}:{minute:02d}:{second:06.3f}"
    text = feature.GetFieldAsString(place)
    return (text.decode("utf-8", errors="replace") if isinstance(text, bytes) else text) or None


def _wkb(shape: ogr.Geometry | None) -> bytes | None:
    if shape is None:
        return None
    if shape.HasCurveGeometry():
        shape = shape.GetLinearGeometry()
    return bytes(shape.ExportToIsoWkb())


class Complaints:
    """The last thing GDAL said is wrong while this is in use; what it says later of no fault does not wipe it out."""

    def __init__(self) -> None:
        self.last = ""

    def __enter__(self) -> Complaints:
        self._settings = ExitStack()
        for module in (gdal, ogr):  # whether they raise is a setting of the whole process; then nobody is told
            if hasattr(module, "ExceptionMgr"):
                self._settings.enter_context(module.ExceptionMgr(useExceptions=False))
        gdal.PushErrorHandler(self._hear)
        self._settings.callback(gdal.PopErrorHandler)
        return self

    def __exit__(self, *_: object) -> None:
        self._settings.close()

    def _hear(self, kind: int, _number: int, message: str) -> None:
        if kind >= gdal.CE_Failure:
            self.last = " ".join(message.split())
