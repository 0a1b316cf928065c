"""Importing as a user does it: dry run, answers, profile, doubts; files with faults; the known layout of the "
"scenario."""

import json
import shutil
from pathlib import Path

import layout_files as layouts
import numpy as np
import pytest
import shapely
from algorithm_runs import content_hash, refusal, run
from fallkeeper.sample_project import rows
from qgis.core import QgsCoordinateReferenceSystem, QgsFeature, QgsGeometry, QgsProject, QgsVectorLayer

SAMPLE = Path(rows.__file__).parent / "ossel_flats.gpkg"
FEET = QgsCoordinateReferenceSystem(layouts.FEET)


pytestmark = pytest.mark.usefixtures("provider", "quick_archives")


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """The sample archive, to be read only."""
    return shutil.copy(SAMPLE, tmp_path_factory.mktemp("archive"))


def f7():
    """The twelve lines of the scenario's section 5.10, as an installer would send them."""
    frame = {"LINE_ID": [], "TYPE": [], "SIZE": [], "INV_START": [], "INV_END": [], "geometry": []}

    def line(key, *places, joint=None):
        shape = layouts.at(*places)
        frame["LINE_ID"].append(key)
        frame["TYPE"].append("lat")
        frame["SIZE"].append('4"')
        frame["INV_START"].append(joint)
        frame["INV_END"].append(None if joint is None else joint + 0.001 * shape.length)
        frame["geometry"].append(shape)

    for number, y in enumerate((1225, 1275, 1325, 1375, 1425, 1475), 1):
        line(f"N{number}", (4000, y), (3128.8, y), joint=696.1 + 0.001 * y)
    line("N7", (4000, 1202), (3128.8, 1202), joint=697.302)
    line("N8", (4000, 1525), (3060, 1525), joint=697.625)
    line("N9", (3900, 1210), (3500, 1460))
    line("N10", (4000, 1575), (3128.8, 1575), joint=696.60)
    line("N11", (3128.8, 1625), (3960, 1625))
    line("F7-05", (4000, 1725), (3128.8, 1725), joint=697.825)
    return layouts.geopandas.GeoDataFrame(frame, crs=layouts.FEET)


DATUM = "Bench marks of Ossel County"


def test_the_layout_of_the_scenario(tmp_path, archive):
    path = layouts.write(f7(), tmp_path / "f7.shp")
    before = content_hash(Path(archive))
    dry = run("importlayout", INPUT=str(path), ARCHIVE=str(archive), REPORT=str(tmp_path / "r.html"))
    assert (dry["DRAIN_COUNT"], dry["DOUBTFUL_COUNT"], dry["LEFT_OUT_COUNT"], dry["WRITTEN"]) == (12, 0, 0, 0)
    assert dry["QUESTION_COUNT"] == 2, "the unit of the inverts, and their datum"
    assert dry["OUTPUT"] is None
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "Nothing is written yet: 2 questions are open." in page
    assert "<svg" in page
    out = tmp_path / "f7.gpkg"
    said = {"LENGTH_UNIT": "ft", "VERTICAL_DATUM": DATUM, "MADE_BY": "installer", "MADE_ON": "5/14/2024",
            "DATE_ORDER": "mdy",
            "POSITION_ERROR": 3.0}
    ran = run("importlayout", INPUT=str(path), ARCHIVE=str(archive), WRITE=True, OUTPUT=str(out), **said)
    assert (ran["WRITTEN"], ran["QUESTION_COUNT"]) == (12, 0)
    assert ran["LENGTH"] == pytest.approx(sum(shape.length for shape in f7().geometry), abs=0.01)
    drains, (layout,) = layouts.read(out), layouts.read(out, "layouts").to_dict("records")
    assert drains["drain_id"].tolist() == [f"N{k}" for k in range(1, 12)] + ["F7-05"]
    assert all(one.equals(other) for one, other in zip(drains.geometry, f7().geometry))
    assert drains["invert_start"].tolist()[9] == 696.60
    assert drains["invert_start"].isna().tolist() == [key in ("N9", "N11") for key in drains["drain_id"]]
    assert set(drains["layout_id"]) == {layout["layout_id"]}
    assert set(drains["position_error"]) == {3.0}
    assert (layout["made_by"], str(layout["made_on"])[:10], layout["source_kind"], layout["position_error"]) == (
        "installer", "2024-05-14", "Shapefile", 3.0)
    assert content_hash(Path(archive)) == before


def test_a_profile_answers_for_the_next_file(tmp_path, archive):
    first = layouts.write(layouts.three(SIZE=[4, 4, 8], TYPE=["T1", "T1", "T2"]), tmp_path / "a.gpkg")
    kept = tmp_path / "installer.json"
    said = {"DIAMETER_UNIT": "in", "VALUE_MAP": "role: T1 = lateral\nrole: T2 = submain", "FIELD_MAP": "name = OWNER"}
    asked = run("importlayout", INPUT=str(first), ARCHIVE=str(archive))
    assert asked["QUESTION_COUNT"] == 2
    run("importlayout", INPUT=str(first), ARCHIVE=str(archive), SAVE_PROFILE=str(kept), **said)
    second = layouts.write(layouts.three(SIZE=[5, 5, 10], TYPE=["T2", "T1", "T1"]), tmp_path / "b.gpkg")
    out = tmp_path / "out.gpkg"
    run("importlayout", INPUT=str(second), ARCHIVE=str(archive), PROFILE=str(kept), WRITE=True, OUTPUT=str(out))
    drains = layouts.read(out)
    assert drains["role"].tolist() == ["submain", "lateral", "lateral"]
    assert drains["diameter"].tolist() == [5, 5, 10]
    assert drains["name"].tolist()[0] == "x"
    newer = json.loads(kept.read_text(encoding="utf-8")) | {"fallkeeper_import_profile": 9, "colour": "red"}
    kept.write_text(json.dumps(newer), encoding="utf-8")
    ran = run("importlayout", INPUT=str(second), ARCHIVE=str(archive), PROFILE=str(kept))
    assert ran["QUESTION_COUNT"] == 0
    ran.heard.sentence_with("version 9")
    ran.heard.sentence_with("'colour'")
    kept.write_text("{", encoding="utf-8")
    assert "is no JSON" in refusal("importlayout", INPUT=str(second), PROFILE=str(kept))


def shifted(change):
    frame = layouts.three()
    frame.geometry = shapely.transform(frame.geometry.to_numpy(), change)
    return frame.set_crs(layouts.FEET, allow_override=True)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda xy: xy[:, ::-1], "with x and y swapped"),
        (lambda xy: xy * 1200 / 3937, "in metres"),
        (lambda xy: xy * 0 + (-82.0173, 41.8614), "as longitude and latitude"),
        (lambda xy: xy * 0 + (41.8614, -82.0173), "as latitude and longitude"),
        (lambda xy: xy * 0 + (7, 7), "miles from the archive"),
    ],
)
def test_places_that_cannot_be_are_doubtful_with_the_remedy(tmp_path, archive, change, words):
    frame = shifted(change)
    frame.geometry = [shapely.LineString(shapely.get_coordinates(s)[:2] + np.array([[0, 0], [1e-4, 1e-4 * k]]))
                      for k, s in enumerate(frame.geometry, 1)]
    path = layouts.write(frame, tmp_path / "a.gpkg")
    ran = run("importlayout", INPUT=str(path), ARCHIVE=str(archive))
    assert (ran["DRAIN_COUNT"], ran["DOUBTFUL_COUNT"]) == (0, 3)
    doubts = [row["detail"] for row in ran.rows("DOUBTS") if row["state"] == "doubtful"]
    assert len(doubts) == 3
    assert all(words in detail for detail in doubts), doubts


def test_the_other_foot_is_told_until_somebody_names_the_crs(tmp_path, archive):
    frame = layouts.three().set_crs(
        "+proj=lcc +lat_0=39.6666666666667 +lon_0=-82.5 +lat_1=41.7 +lat_2=40.4333333333333 +x_0=600000 +y_0=0 "
        "+datum=NAD83 +units=ft", allow_override=True,
    )
    path = layouts.write(frame, tmp_path / "a.gpkg")
    ran = run("importlayout", INPUT=str(path), ARCHIVE=str(archive))
    details = {row["detail"] for row in ran.rows("DOUBTS") if row["state"] == "doubtful"}
    assert any("international feet" in one and "4.5 ft off" in one for one in details), details
    settled = run("importlayout", INPUT=str(path), ARCHIVE=str(archive), CRS=FEET)
    assert settled["DOUBTFUL_COUNT"] == 0


def test_doubtful_rows_come_in_only_if_they_are_taken(tmp_path, archive):
    frame = layouts.three(SPACING_FT=[50.0, 5000.0, None])
    path = layouts.write(frame, tmp_path / "a.gpkg")
    first = run("importlayout", INPUT=str(path), ARCHIVE=str(archive), WRITE=True, OUTPUT=str(tmp_path / "a1.gpkg"))
    assert (first["WRITTEN"], len(layouts.read(tmp_path / "a1.gpkg"))) == (2, 2)
    second = run("importlayout", INPUT=str(path), ARCHIVE=str(archive), WRITE=True, OUTPUT=str(tmp_path / "a2.gpkg"),
                 TAKE_DOUBTFUL=True)
    assert second["WRITTEN"] == 3
    assert "Doubtful when taken in: A figure is hard to believe." in layouts.read(tmp_path / "a2.gpkg")["note"][1]


def test_nothing_is_overwritten_and_a_dry_run_needs_no_file(tmp_path, archive):
    path = layouts.write(layouts.three(), tmp_path / "a.gpkg")
    assert "OUTPUT" in refusal("importlayout", INPUT=str(path), WRITE=True)
    out = tmp_path / "out.gpkg"
    run("importlayout", INPUT=str(path), WRITE=True, OUTPUT=str(out))
    assert "already holds rows" in refusal("importlayout", INPUT=str(path), WRITE=True, OUTPUT=str(out))
    assert "lies in no archive" in refusal("importlayout", INPUT=str(path), ARCHIVE=str(path))


def test_a_layer_of_the_project_counts_as_it_shows(tmp_path):
    path = layouts.write(layouts.three(), tmp_path / "a.gpkg")
    layer = QgsVectorLayer(str(path), "sent", "ogr")
    QgsProject.instance().addMapLayer(layer)
    layer.startEditing()
    feature = QgsFeature(layer.fields())
    feature["LINE_ID"], feature["TYPE"] = "new", "main"
    feature.setGeometry(QgsGeometry.fromWkt(layouts.at((4000, 2150), (4000, 2200)).wkt))
    layer.addFeature(feature)
    ran = run("importlayout", INPUT=layer, WRITE=True, OUTPUT=str(tmp_path / "out.gpkg"))
    assert sorted(layouts.read(tmp_path / "out.gpkg")["drain_id"]) == sorted(["N1", "N2", "S\u00fcd", "new"])
    layer.rollBack()
    layer.setSubsetString("TYPE = 'lat'")
    ran = run("importlayout", INPUT=layer)
    assert ran["DRAIN_COUNT"] == 1
    layer.setSubsetString("")
    assert run("importlayout", INPUT=layer.id())["DRAIN_COUNT"] == 3
    QgsProject.instance().removeAllMapLayers()


def test_arcs_become_short_straights(tmp_path):
    layer = QgsVectorLayer(f"CompoundCurve?crs={layouts.FEET}&field=role:string", "curves", "memory")
    x, y = rows.ORIGIN_FT
    feature = QgsFeature(layer.fields())
    feature["role"] = "main"
    arc = f"CircularString({x} {y}, {x + 100} {y + 100}, {x} {y + 200})"
    feature.setGeometry(QgsGeometry.fromWkt(f"CompoundCurve({arc})"))
    layer.dataProvider().addFeatures([feature])
    ran = run("importlayout", INPUT=layer, WRITE=True, OUTPUT=str(tmp_path / "out.gpkg"))
    assert ran["LENGTH"] == pytest.approx(100 * np.pi, rel=1e-3)


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson", "kml", "kmz", "dxf", "gpx", "csv"])
def test_empty_and_broken_files_are_refused_in_one_sentence(tmp_path, ending):
    path = tmp_path / f"bad.{ending}"
    path.write_bytes(b"")
    assert refusal("importlayout", INPUT=str(path)) == f"The file bad.{ending} is empty: ask for it again."
    path.write_bytes(b"\x00\x01 no such thing \xff" * 50)
    said = refusal("importlayout", INPUT=str(path))
    assert said.startswith((f"bad.{ending} ", f"bad.{ending}: It is no text"))
    assert "sk for " in said
    assert "\n" not in said


def test_parts_of_a_shapefile_that_are_missing(tmp_path):
    path = layouts.write(layouts.three(), tmp_path / "a.shp")
    held = path.read_bytes()
    path.write_bytes(held[: len(held) * 2 // 3])
    ran = run("importlayout", INPUT=str(path))
    ran.heard.sentence_with("Reading met a fault", "compare with the sender")
    assert ran["DRAIN_COUNT"] < 3
    path.with_suffix(".dbf").unlink()
    run("importlayout", INPUT=str(path)).heard.sentence_with("without its .dbf")
    path.with_suffix(".shx").unlink()
    assert "without its .shx" in refusal("importlayout", INPUT=str(path))
    assert not path.with_suffix(".shx").exists()


def test_shapes_that_are_no_lines_are_left_out_with_all_they_hold(tmp_path):
    frame = layouts.three()
    frame.geometry = [None, shapely.Polygon([(0, 0), (1, 0), (1, 1)]), frame.geometry[2]]
    path = layouts.write(frame, tmp_path / "a.geojson")
    ran = run("importlayout", INPUT=str(path), OUTPUT_CRS=FEET)
    told = [row for row in ran.rows("DOUBTS") if row["state"] == "left out"]
    left = {json.loads(row["entries"])["LINE_ID"]: row["what"] for row in told}
    assert left == {"N1": "The row has no place.", "N2": "What is drawn is no line."}
