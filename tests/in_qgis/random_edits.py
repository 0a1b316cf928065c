"""Random edits of an archive through plain SQL, OGR and the edit buffer of QGIS, as programs make them."""

from __future__ import annotations

import math
import random
import sqlite3
import struct
from collections import Counter

from fallkeeper.plugin.history.blobs import stored
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.schema import layer as schema_layer
from osgeo import gdal, ogr
from qgis.core import NULL, QgsFeature, QgsGeometry, QgsVectorLayer
from shapely import LineString, Point, box, to_wkb

LAYERS = ("drains", "landmarks", "land", "repairs", "limits", "predictions")
_MOST_ROWS = 25
_ODD_TEXTS = ("", " ", "null", "NULL", "0", "1e5", "käse 🧀", "'quoted' \"twice\"", "back\\slash", "line\nbreak\ttab\r",
              "{brace}", "\x01\x1f", "ends with \\", "x" * 3000)
_ODD_REALS = (0.0, -0.0, 0.1 + 0.2, 5e-324, 1.7976931348623157e308, -2.2250738585072014e-308, 1e22, 1e23, 3.0,
              1.0598572495520002e288, 123456789.123456789)
_SRS = 3734


class Values:
    """Makes values; all from one seed."""

    def __init__(self, seed: int):
        self.random = random.Random(seed)

    def real(self) -> float:
        if self.random.random() < 0.3:
            return self.random.choice(_ODD_REALS)
        while True:
            value = struct.unpack("<d", self.random.getrandbits(64).to_bytes(8, "little"))[0]
            if math.isfinite(value):
                return value

    def field(self, field) -> object:
        """A value the rules take, or None where they take that."""
        if field.key:
            return self.key()
        if not field.required and self.random.random() < 0.3:
            return None
        if field.values:
            return self.random.choice(list(field.choices))
        if field.kind == "real":
            value = self.real()
            return value if field.least is None else abs(value) + (1.0 if field.above else 0.0)
        if field.kind == "boolean":
            return self.random.choice((0, 1))
        if field.kind == "integer":
            return self.random.randrange(-(2**40), 2**40)
        if field.kind == "date":
            return f"{self.random.randrange(1900, 2100)}-{self.random.randrange(1, 13):02d}-11"
        if field.kind == "datetime":
            return f"{self.random.randrange(1900, 2100)}-05-11T10:11:12.250Z"
        return self.random.choice(_ODD_TEXTS)

    def key(self) -> str:
        """Few, so that rows meet."""
        return self.random.choice(("K", "k ", "ä", "'")) + str(self.random.randrange(60))

    def shape(self, kind: str) -> bytes | None:
        if not kind:
            return None
        x, y = 2.1e6 + self.random.random() * 1000, 8e5 + self.random.random() * 1000
        if kind == "Point":
            return to_wkb(Point(x, y))
        if kind == "Polygon":
            return to_wkb(box(x, y, x + self.random.random(), y + 1))
        places = [(x + self.random.random(), y + place) for place in range(self.random.randrange(2, 6))]
        return to_wkb(LineString(places))

    def row(self, name: str) -> tuple[dict[str, object], bytes | None]:
        declared = schema_layer(name)
        values = {field.name: self.field(field) for field in declared.fields}
        if name == "predictions" and self.random.random() < 0.3:
            values["prediction_id"] = None
        shape = self.shape(declared.geometry)
        if not declared.place_required and self.random.random() < 0.3:
            shape = None
        return values, shape

    def some(self, name: str) -> dict[str, object]:
        """Values of a few fields, the key seldom among them."""
        fields = [field for field in schema_layer(name).fields if not field.key or self.random.random() < 0.2]
        return {field.name: self.field(field) for field in self.random.sample(fields, min(3, len(fields)))}


class Editors:
    """Three programs that have one archive open. `done` counts edits by program and kind, `refused` those the rules
    did not take."""

    def __init__(self, path, seed: int):
        self.path, self.values = path, Values(seed)
        gdal.SetConfigOption("OGR_SQLITE_SYNCHRONOUS", "OFF")  # waiting for the disk would take most of the time
        self.random = self.values.random
        self.sql = open_archive(path, write=True)
        self.sql.execute("PRAGMA synchronous = OFF")
        self.ogr = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
        self.qgis = {name: QgsVectorLayer(f"{path}|layername={name}", name, "ogr") for name in LAYERS}
        self.done: Counter = Counter()
        self.refused: Counter = Counter()

    def close(self) -> None:
        self.sql.close()
        self.ogr = None
        self.qgis.clear()
        gdal.SetConfigOption("OGR_SQLITE_SYNCHRONOUS", None)

    def edit(self) -> str:
        """One random edit; returns the layer."""
        name = self.random.choice(LAYERS)
        numbers = [number for (number,) in self.sql.execute(f"SELECT fid FROM {name}")]
        kinds = ["insert", "update", "update", "update", "shape", "key", "delete"]
        if len(numbers) > _MOST_ROWS:
            kinds += ["delete"] * 6
        kind = self.random.choice(kinds) if numbers else "insert"
        program = self.random.choice(("sql", "ogr", "qgis"))
        number = self.random.choice(numbers) if numbers else None
        try:
            kind = getattr(self, f"_{program}")(name, kind, number) or kind
        except (sqlite3.IntegrityError, _RefusedError):
            self.refused[program, kind] += 1
        else:
            self.done[program, kind] += 1
        return name

    def _sql(self, name: str, kind: str, number: int | None) -> str | None:
        execute, declared = self.sql.execute, schema_layer(name)
        some = self.values.some(name)
        if kind == "insert":
            values, shape = self.values.row(name)
            if declared.geometry:
                values["geom"] = shape and stored(shape, _SRS)
            how = self.random.choice(("INSERT", "REPLACE", "INSERT OR REPLACE"))
            if how != "INSERT" and number is not None and self.random.random() < 0.5:
                values["fid"] = number
            marks = ", ".join("?" * len(values))
            columns = ", ".join(f'"{column}"' for column in values)
            execute(f"{how} INTO {name} ({columns}) VALUES ({marks})", list(values.values()))
            return None if how == "INSERT" else "replace"
        if kind == "delete":
            many = self.random.random() < 0.1
            execute(f"DELETE FROM {name} WHERE fid = ?" + (" OR fid % 5 = 0" if many else ""), [number])
            return None
        if kind == "key":
            column = declared.key.name if declared.key and self.random.random() < 0.6 else "fid"
            value = self.values.key() if column != "fid" else self.random.randrange(1, 10**6)
            how = self.random.choice(("UPDATE", "UPDATE OR REPLACE"))
            execute(f'{how} {name} SET "{column}" = ? WHERE fid = ?', [value, number])
            return None
        if kind == "shape" and declared.geometry:
            some["geom"] = stored(self.values.shape(declared.geometry), _SRS)
        changes = ", ".join(f'"{column}" = ?' for column in some)
        many = not any(field.key and field.name in some for field in declared.fields) and self.random.random() < 0.1
        where = "fid % 3 = 0 OR fid = ?" if many else "fid = ?"
        execute(f"UPDATE {name} SET {changes} WHERE {where}", [*some.values(), number])
        return None

    def _ogr(self, name: str, kind: str, number: int | None) -> None:
        table = self.ogr.GetLayerByName(name)
        gdal.PushErrorHandler("CPLQuietErrorHandler")
        try:
            if kind == "insert":
                values, shape = self.values.row(name)
                feature = ogr.Feature(table.GetLayerDefn())
                _fill_ogr(feature, values, shape)
                fault = table.CreateFeature(feature)
            elif kind == "delete":
                fault = table.DeleteFeature(number)
            else:
                feature = table.GetFeature(number)
                values = self.values.some(name)
                if kind == "key" and schema_layer(name).key:
                    values = {schema_layer(name).key.name: self.values.key()}
                shape = self.values.shape(schema_layer(name).geometry) if kind == "shape" else None
                _fill_ogr(feature, values, shape)
                fault = table.SetFeature(feature)
        except RuntimeError as error:
            raise _RefusedError(str(error)) from None
        finally:
            table.ResetReading()
            gdal.PopErrorHandler()
        if fault:
            raise _RefusedError(gdal.GetLastErrorMsg())

    def _qgis(self, name: str, kind: str, number: int | None) -> None:
        """One to three changes in one edit session, saved together."""
        opened, declared = self.qgis[name], schema_layer(name)
        opened.dataProvider().reloadData()
        if not opened.startEditing():
            raise AssertionError(f"{name} cannot be edited")
        for _ in range(self.random.randrange(1, 4)):
            if kind == "insert":
                values, shape = self.values.row(name)
                feature = QgsFeature(opened.fields())
                for column, value in values.items():
                    feature[column] = NULL if value is None else value
                if shape is not None:
                    feature.setGeometry(_qgis_shape(shape))
                opened.addFeature(feature)
            elif kind == "delete":
                opened.deleteFeature(number)
                break
            elif kind == "shape" and declared.geometry:
                opened.changeGeometry(number, _qgis_shape(self.values.shape(declared.geometry)))
            elif kind == "key" and declared.key:
                opened.changeAttributeValue(number, opened.fields().indexOf(declared.key.name), self.values.key())
            else:
                for column, value in self.values.some(name).items():
                    value = NULL if value is None else value
                    opened.changeAttributeValue(number, opened.fields().indexOf(column), value)
        if not opened.commitChanges():
            opened.rollBack()
            raise _RefusedError("; ".join(opened.commitErrors()))


class _RefusedError(Exception):
    """The archive's rules did not take it."""


def _fill_ogr(feature: ogr.Feature, values: dict[str, object], shape: bytes | None) -> None:
    for column, value in values.items():
        if value is None:
            feature.SetFieldNull(column)
        else:
            feature.SetField(column, value)
    if shape is not None:
        feature.SetGeometry(ogr.CreateGeometryFromWkb(shape))


def _qgis_shape(wkb: bytes) -> QgsGeometry:
    shape = QgsGeometry()
    shape.fromWkb(wkb)
    return shape
