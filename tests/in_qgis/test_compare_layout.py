"""comparelayout through Processing, on the sample county with its gap in main B bridged."""

import shutil

import builders as b
import layouts
import numpy as np
import pytest
import shapely
from algorithm_runs import content_hash, refused, run
from county_files import bridged_county
from fallkeeper.plugin.units import US_SURVEY_FOOT_M
from fallkeeper.sample_project import rows
from permissions import permissions_hold
from qgis.core import NULL, QgsCoordinateReferenceSystem, QgsProject, QgsVectorLayer
from qgis_layers import layer

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture(scope="module")
def made(qgis_app, tmp_path_factory):
    path = tmp_path_factory.mktemp("Ossel Flats ü") / "county.gpkg"
    return bridged_county(path)


@pytest.fixture
def county(made, tmp_path):
    return shutil.copyfile(made, tmp_path / "county.gpkg")


def f7(crs=rows.CRS, **changed):
    """The layout of F7 as a layer in memory."""
    return layer([{**row, **changed} for row in layouts.f7_rows()], crs, "F7 layout", origin=rows.ORIGIN_FT)


def compare(county, layout=None, **given):
    return run("comparelayout", ARCHIVE=str(county), LAYOUT=f7() if layout is None else layout, JOIN_TOLERANCE=5.0,
               **given)


def by_line(ran):
    return {row["drain_id"]: row for row in ran.rows("DECISIONS")}


def test_s510_classes_figures_and_reports(county, tmp_path):
    before = content_hash(county)
    page = tmp_path / "Seite für F7.html"
    ran = compare(county, REPORT=str(page))
    found = by_line(ran)
    assert {key: (row["class"], row["action"]) for key, row in found.items()} == {
        **dict.fromkeys(layouts.CLEAN, ("new", "take")), "N7": ("near-duplicate", "keep"),
        "N8": ("property-crossing", "ask"), "N9": ("crossing", "ask"), "N10": ("tie-in-low", "ask"),
        "N11": ("loose-end", "ask"), "F7-05": ("other-shape", "ask"),
    }
    assert found["N7"]["overlap_share"] == 1.0 and found["N7"]["other_id"] == "F7-01"
    assert found["N8"]["outside_length"] == pytest.approx(40.0, abs=0.1)
    assert (found["N9"]["crossing_count"], found["N9"]["reasons"]) == (10, "crossing, loose-end")
    assert found["N10"]["below_by"] == pytest.approx(0.575, abs=0.001)
    assert found["N11"]["gap"] == pytest.approx(40.0, abs=0.1)
    assert found["N1"]["gap"] == NULL and found["N1"]["detail"] == NULL
    assert (ran["TAKE_COUNT"], ran["KEEP_COUNT"], ran["ASK_COUNT"], ran["JOIN_COUNT"]) == (6, 1, 5, 0)
    assert ran["LENGTH_ADDED"] == pytest.approx(5227.2, abs=0.1) and ran["AREA_MOVED"] == 0.0
    outlets = {row["outlet"]: row for row in ran.rows("OUTLETS")}
    assert (outlets["OB"]["area_before"], outlets["OB"]["area_proposed"]) == pytest.approx((70.0, 70.0), abs=0.001)
    places = [row for row in ran.rows("PLACES") if row["class"] == "crossing"]
    assert len(places) == 10
    words = page.read_text(encoding="utf-8")
    for said in ("6 can be taken", "5,227.2 ft", "Crosses a property line", "70.00 acres", "<svg"):
        assert said in words
    assert content_hash(county) == before


def test_the_lines_lie_where_the_layout_drew_them(county):
    features = {feature["drain_id"]: feature for feature in compare(county)["DECISIONS"].getFeatures()}
    drawn = shapely.from_wkb(bytes(features["N1"].geometry().asWkb()))
    assert np.allclose(shapely.get_coordinates(drawn), [[2104000, 801225], [2103128.8, 801225]], atol=1e-6)


def test_a36_through_processing(tmp_path, qgis_app):
    """Two mains, and K1 led to the other one."""
    from fallkeeper.plugin.history.batch import archive_batch
    from fallkeeper.plugin.qgis_layer.archive import create_archive

    path = tmp_path / "two.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem("EPSG:32122"), "metric")
    with archive_batch(path, "test", "two mains") as batch:
        for key, x in (("M1", 0.0), ("M2", 400.0)):
            shape = shapely.LineString([(x, 0), (x, 300)])
            batch.insert("drains", {"drain_id": key, "role": "main"}, shapely.to_wkb(shape))
            batch.insert("structures", {"structure_id": f"O{key[1]}", "kind": "outlet"},
                         shapely.to_wkb(shapely.Point(x, 0)))
        for key, x, y in (("K1", (0, 390), 100), ("A", (0, -300), 150), ("B", (400, 700), 150)):
            shape = shapely.LineString([(x[0], y), (x[1], y)])
            batch.insert("drains", {"drain_id": key, "role": "lateral", "spacing": 20.0}, shapely.to_wkb(shape))
    moved = layer([b.lateral("K1", (400, 100), (10, 100), spacing=20.0)], "EPSG:32122")
    ran = run("comparelayout", ARCHIVE=str(path), LAYOUT=moved)
    change, = (row for row in ran.rows("OUTLET_CHANGES") if row["accepting"] == "all")
    assert (change["from_outlet"], change["to_outlet"], change["drains"]) == ("O1", "O2", "K1")
    assert change["area"] == pytest.approx(0.78) and ran["AREA_MOVED_ALL"] == pytest.approx(0.78)
    assert change["detail"] == "0.78 ha change outlet from O1 to O2; O1: 1.38 to 0.60, O2: 0.60 to 1.38 ha"
    assert ran["AREA_MOVED"] == 0.0
    assert any("change outlet from O1 to O2" in said for said in ran.heard.infos)


def test_a_layout_in_other_units_and_another_crs(county):
    """The same lines in metres and UTM, figures in metres and millimetres: the same classes."""
    size = US_SURVEY_FOOT_M
    rows_m = []
    for row in layouts.f7_rows():
        levels = {name: row[name] * 0.3048 for name in ("invert_start", "invert_end", "invert_error", "spacing")}
        rows_m.append({**row, **levels, "diameter": row["diameter"] * 25.4})
    assert size != 0.3048
    feet = layer(rows_m, rows.CRS, "F7", origin=rows.ORIGIN_FT)
    import processing

    utm = processing.run("native:reprojectlayer", {"INPUT": feet, "TARGET_CRS": "EPSG:26917", "OUTPUT": "memory:"})
    ran = run("comparelayout", ARCHIVE=str(county), LAYOUT=utm["OUTPUT"], JOIN_TOLERANCE=1.524, UNITS="metric")
    found = by_line(ran)
    assert {key: row["class"] for key, row in found.items()} == {
        **dict.fromkeys(layouts.CLEAN, "new"), "N7": "near-duplicate", "N8": "property-crossing", "N9": "crossing",
        "N10": "tie-in-low", "N11": "loose-end", "F7-05": "other-shape",
    }
    assert found["N10"]["below_by"] == pytest.approx(0.575 * 0.3048, abs=0.001)
    assert ran["LENGTH_ADDED"] == pytest.approx(5227.2 * 0.3048006, abs=0.05)


def test_fields_of_other_names(county):
    names = {"drain_id": "LINE", "role": "KIND"}
    renamed = [{names.get(name, name): value for name, value in row.items()} for row in layouts.f7_rows()]
    ran = compare(county, layer(renamed, rows.CRS, origin=rows.ORIGIN_FT), ID_FIELD="LINE", ROLE_FIELD="KIND")
    assert by_line(ran)["F7-05"]["class"] == "other-shape" and ran["TAKE_COUNT"] == 6


def test_an_empty_layout(county):
    empty = QgsVectorLayer(f"LineString?crs={rows.CRS}&field=role:string", "none", "memory")
    ran = compare(county, empty)
    assert ran["LINE_COUNT"] == 0 and ran.rows("DECISIONS") == [] and "The layout holds no line." in ran.heard.infos


def test_lines_without_a_crs_are_refused(county):
    bare = QgsVectorLayer("LineString?field=role:string", "bare", "memory")
    bare.setCrs(QgsCoordinateReferenceSystem())
    assert "has no coordinate reference system" in refused("comparelayout", ARCHIVE=str(county), LAYOUT=bare)


def test_the_archive_itself_is_no_layout(county):
    said = refused("comparelayout", ARCHIVE=str(county), LAYOUT=f"{county}|layername=drains")
    assert "is a layer of the archive itself" in said


@pytest.mark.parametrize("content", [None, b"no database", b""])
def test_what_is_no_archive(tmp_path, content):
    path = tmp_path / "x.gpkg"
    if content is not None:
        path.write_bytes(content)
    assert str(path) in refused("comparelayout", ARCHIVE=str(path), LAYOUT=f7())


def test_edits_that_are_not_saved_are_told(county):
    opened = QgsVectorLayer(f"{county}|layername=drains", "Drains", "ogr")
    QgsProject.instance().addMapLayer(opened)
    assert opened.startEditing()
    try:
        assert compare(county).heard.sentence_with("edit mode", "not seen")
    finally:
        opened.rollBack()
        QgsProject.instance().removeMapLayer(opened.id())


def test_a_read_only_archive_is_compared(county):
    county.chmod(0o444)
    before = content_hash(county)
    with permissions_hold():
        assert compare(county)["TAKE_COUNT"] == 6
    assert content_hash(county) == before
