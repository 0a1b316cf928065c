"""Rows in bulk into a GeoPackage: what is read back, and that nothing half-written is left."""

import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely
from fallkeeper.plugin.qgis_layer import geopackage
from fallkeeper.plugin.qgis_layer.fields import make_fields
from fallkeeper.plugin.qgis_layer.geopackage import fill
from fallkeeper.plugin.qgis_layer.rows import Rows
from fallkeeper.plugin.qgis_layer.write import write_features
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransformContext,
    QgsFeature,
    QgsFeatureRequest,
    QgsGeometry,
    QgsRectangle,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)

CRS = "EPSG:26917"
SPEC = {"word": "text", "figure": "real", "count": "integer", "flag": "boolean", "sure": "boolean"}
KINDS = QgsWkbTypes.Type
FOOT_M = 0.3048


@pytest.fixture(autouse=True)
def qgis(qgis_app):
    return qgis_app


def nothing(share):
    pass


def never():
    return False


def new_file(path: Path, kind) -> QgsVectorFileWriter:
    """A GeoPackage as QGIS makes it, without a row."""
    options, crs = QgsVectorFileWriter.SaveVectorOptions(), QgsCoordinateReferenceSystem(CRS)
    options.driverName = "GPKG"
    context = QgsCoordinateTransformContext()
    made = QgsVectorFileWriter.create(str(path), make_fields(SPEC), kind, crs, context, options)
    assert made.hasError() == QgsVectorFileWriter.WriterError.NoError, made.errorMessage()
    return made


def empty(path: Path, kind=KINDS.LineString) -> Path:
    sink = new_file(path, kind)
    del sink  # closes the file
    return path


def by_features(path: Path, rows: Rows, kind, unit_m: float) -> Path:
    sink = new_file(path, kind)
    assert write_features(sink, make_fields(SPEC), rows, unit_m, nothing, never)
    del sink
    return path


def read(path: Path) -> list:
    """What QGIS reads: attributes and the shape as WKT with all digits."""
    layer = QgsVectorLayer(str(path), "written", "ogr")
    assert layer.isValid()
    return [
        (feature.id(), feature.attributes(), feature.geometry().asWkt(17) if feature.hasGeometry() else None)
        for feature in layer.getFeatures()
    ]


def lines(count: int, seed: int = 1) -> np.ndarray:
    random = np.random.default_rng(seed)
    vertices = random.integers(2, 6, count)
    place = np.repeat(random.uniform(0, 5e3, (count, 2)), vertices, axis=0)
    xy = place + random.uniform(-50, 50, (vertices.sum(), 2)) + (3e5, 4.56e6)
    return shapely.linestrings(xy, indices=np.repeat(np.arange(count), vertices))


SHAPES = {
    KINDS.LineString: lines(4),
    KINDS.Point: shapely.points([[300000.1, 4560000.25], [-1e-7, 12.0], [1e7, -3.0], [0.0, 0.0]]),
    KINDS.MultiPolygon: np.array([
        shapely.MultiPolygon([shapely.box(0, 0, k + 1, 2), shapely.box(10, 10, 12, 12 + k).difference(
            shapely.box(10.5, 10.5, 11, 11))]) for k in range(4)
    ]),
    KINDS.NoGeometry: None,
}  # fmt: skip
COLUMNS = {
    "word": np.array(["Größe 'x' \"y\" 排水 \U0001f4a7", None, "", "two\nlines"], dtype=object),
    "figure": np.array([0.1 + 0.2, np.nan, -0.0, 1e300]),
    "count": np.array([0, -5, 2**31 - 1, 7]),
    "flag": np.array([True, None, False, None], dtype=object),
    "sure": np.array([True, False, True, False]),
}


@pytest.mark.parametrize("unit_m", (1.0, FOOT_M), ids=("metres", "feet"))
@pytest.mark.parametrize("kind", SHAPES, ids=lambda kind: QgsWkbTypes.displayString(kind))
def test_qgis_reads_the_same_as_if_written_feature_by_feature(tmp_path, kind, unit_m):
    shapes = SHAPES[kind]
    rows = Rows.of(COLUMNS, shapes)
    assert fill(empty(tmp_path / "bulk.gpkg", kind), rows, unit_m, nothing, never)
    bulk = read(tmp_path / "bulk.gpkg")
    assert bulk == read(by_features(tmp_path / "single.gpkg", rows, kind, unit_m))
    assert [row[0] for row in bulk] == [1, 2, 3, 4]
    assert [row[1][1] for row in bulk] == ["Größe 'x' \"y\" 排水 \U0001f4a7", NULL, "", "two\nlines"]
    assert [row[1][4] for row in bulk] == [True, NULL, False, NULL]


def test_a_row_without_shape_stays_without(tmp_path):
    for kind in (KINDS.LineString, KINDS.Point):
        shapes = SHAPES[kind].copy()
        shapes[1] = None
        path = empty(tmp_path / f"{kind:d}.gpkg", kind)
        assert fill(path, Rows.of(COLUMNS, shapes), 1.0, nothing, never)
        assert [row[2] is None for row in read(path)] == [False, True, False, False]
        assert QgsVectorLayer(str(path), "", "ogr").featureCount() == 4


def test_a_shape_without_a_vertex(tmp_path):
    shapes = SHAPES[KINDS.MultiPolygon].copy()
    shapes[2] = shapely.MultiPolygon()
    path = empty(tmp_path / "empty.gpkg", KINDS.MultiPolygon)
    assert fill(path, Rows.of(COLUMNS, shapes), 1.0, nothing, never)
    assert QgsVectorLayer(str(path), "", "ogr").getFeature(3).geometry().isEmpty()
    assert pyogrio.read_dataframe(path).geometry.is_empty.tolist() == [False, False, True, False]


def test_no_row_at_all(tmp_path):
    path = empty(tmp_path / "none.gpkg")
    none = {name: column[:0] for name, column in COLUMNS.items()}
    assert fill(path, Rows.of(none, SHAPES[KINDS.LineString][:0]), 1.0, nothing, never)
    assert read(path) == []


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    words=st.lists(st.one_of(st.none(), st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))),
                   min_size=1, max_size=120),
    figure=st.floats(allow_infinity=False), whole=st.integers(-(2**31), 2**31 - 1),
    flag=st.sampled_from((True, False, None)),
)  # fmt: skip
def test_any_value_comes_back(tmp_path, words, figure, whole, flag):
    """Whatever the number of rows in a statement."""
    path, count = tmp_path / "any.gpkg", len(words)
    path.unlink(missing_ok=True)
    columns = {"word": np.array(words, dtype=object), "figure": np.full(count, figure), "count": np.full(count, whole),
               "flag": np.full(count, flag, dtype=object), "sure": np.arange(count) % 2 == 0}
    assert fill(empty(path, KINDS.NoGeometry), Rows.of(columns), 1.0, nothing, never)
    known = [NULL if np.isnan(figure) else figure, whole, NULL if flag is None else flag]
    assert [row[1][1:] for row in read(path)] == [
        [NULL if word is None else word, *known, k % 2 == 0] for k, word in enumerate(words)
    ]


def many(count: int) -> Rows:
    columns = {"word": np.array([f"pipe {k}" for k in range(count)], dtype=object), "figure": np.arange(count) / 7,
               "count": np.arange(count), "flag": np.full(count, None, dtype=object),
               "sure": np.zeros(count, dtype=bool)}
    return Rows.of(columns, lines(count))


def test_index_extent_and_count_are_those_of_the_rows_and_stay_so_when_edited(tmp_path, monkeypatch):
    monkeypatch.setattr(geopackage, "_AT_ONCE", 700)
    count, path, shares = 5_000, tmp_path / "many.gpkg", []
    assert fill(empty(path), many(count), 1.0, shares.append, never)
    assert shares == sorted(shares) and len(shares) == 8 and shares[-1] == 1.0
    shapes = lines(count)
    layer = QgsVectorLayer(str(path), "many", "ogr")
    assert layer.featureCount() == count
    extent = layer.extent()
    box = [extent.xMinimum(), extent.yMinimum(), extent.xMaximum(), extent.yMaximum()]
    assert box == pytest.approx(shapely.total_bounds(shapes).tolist(), abs=1e-6)
    window = shapely.box(301_000, 4_561_000, 301_400, 4_561_300)

    def met():
        request = QgsFeatureRequest(QgsRectangle(*window.bounds)).setFlags(QgsFeatureRequest.Flag.ExactIntersect)
        return {feature["count"] for feature in layer.getFeatures(request)}

    expected = set(np.flatnonzero(shapely.intersects(shapes, window)).tolist())
    assert met() == expected and len(expected) > 5
    gone = min(expected)
    more = QgsFeature(layer.fields())
    more["count"] = count
    more.setGeometry(QgsGeometry.fromWkt("LineString(301100 4561100, 301200 4561200)"))
    layer.startEditing()
    layer.deleteFeature(gone + 1)
    assert layer.addFeature(more)
    assert layer.commitChanges(), layer.commitErrors()
    assert met() == expected - {gone} | {count}
    layer = None  # closes the file
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("SELECT rtreecheck('rtree_many_geom')").fetchone() == ("ok",)
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("SELECT feature_count FROM gpkg_ogr_contents").fetchone() == (count,)


def test_another_library_reads_the_file(tmp_path):
    path = empty(tmp_path / "other.gpkg")
    assert fill(path, many(300), 1.0, nothing, never)
    frame = pyogrio.read_dataframe(path, fid_as_index=True)
    assert str(frame.crs) == CRS
    assert frame.index.tolist() == list(range(1, 301))
    assert frame["word"].tolist() == [f"pipe {k}" for k in range(300)]
    assert shapely.equals_exact(frame.geometry.to_numpy(), lines(300)).all()
    some = pyogrio.read_dataframe(path, bbox=(301_000, 4_561_000, 302_000, 4_562_000))
    assert len(some) == shapely.intersects(lines(300), shapely.box(301_000, 4_561_000, 302_000, 4_562_000)).sum()


def left(folder: Path) -> list:
    return sorted(path.name for path in folder.iterdir())


def test_nothing_is_left_when_canceled(tmp_path, monkeypatch):
    monkeypatch.setattr(geopackage, "_AT_ONCE", 100)
    shares = []
    assert not fill(empty(tmp_path / "half.gpkg"), many(1_000), 1.0, shares.append, lambda: len(shares) == 4)
    assert len(shares) == 4
    assert left(tmp_path) == []


def test_nothing_is_left_when_making_the_rows_fails(tmp_path, monkeypatch):
    monkeypatch.setattr(geopackage, "_AT_ONCE", 100)
    good = many(1_000)

    def part(rows):
        if rows.start >= 500:
            raise MemoryError
        return good.part(rows)

    with pytest.raises(MemoryError):
        fill(empty(tmp_path / "half.gpkg"), Rows(1_000, part), 1.0, nothing, never)
    assert left(tmp_path) == []


def test_a_full_disk_is_said_and_nothing_is_left(tmp_path, monkeypatch):
    """SQLite is allowed few pages, which it reports as it does a full disk."""
    connect = sqlite3.connect

    def narrow(*given, **more):
        file = connect(*given, **more)
        file.execute("PRAGMA max_page_count = 60")
        return file

    monkeypatch.setattr(sqlite3, "connect", narrow)
    with pytest.raises(OSError, match="^the disk is full: make room or choose another folder$"):
        fill(empty(tmp_path / "full.gpkg"), many(5_000), 1.0, nothing, never)
    assert left(tmp_path) == []


def test_a_file_in_use_is_said_and_nothing_is_left(tmp_path, monkeypatch):
    monkeypatch.setattr(geopackage, "_PATIENCE_S", 0.1)
    path = empty(tmp_path / "used.gpkg")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(OSError, match="^another program has the file open"):
            fill(path, many(10), 1.0, nothing, never)


def test_a_file_with_rows_is_refused_and_kept(tmp_path):
    path = empty(tmp_path / "old.gpkg")
    assert fill(path, many(10), 1.0, nothing, never)
    before = read(path)
    with pytest.raises(OSError, match="holds something already"):
        fill(path, many(20), 1.0, nothing, never)
    assert read(path) == before
