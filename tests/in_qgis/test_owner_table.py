"""ownertable through Processing: three owners on one main, and the sample archive."""

import builders as b
import owner_cases
import pytest
import shapely
from algorithm_runs import content_hash, refusal, run
from fallkeeper.sample_project.build_sample import write_archive
from ohio import OHIO, in_ohio, point
from qgis_layers import layer

pytestmark = pytest.mark.usefixtures("provider")


def a34():
    rows, land = owner_cases.a34()
    return {"DRAINS": in_ohio(rows), "LAND": in_ohio(land), "STRUCTURES": in_ohio([b.outlet(0, 0)])}


def owners(ran):
    return [row["owner"] for row in ran.rows("TABLE")]


def test_a34_the_table_of_owners():
    ran = run("ownertable", **a34())
    assert [(row["owner"], round(row["area"], 3), round(row["share"], 4)) for row in ran.rows("TABLE")] == [
        ("T", 4.0, 0.5), ("K", 3.0, 0.375), ("M", 1.0, 0.125),
    ]
    assert [(row["owner"], round(row["share"], 4)) for row in ran.rows("SHARES")] == [
        ("T", 0.5), ("K", 0.375), ("M", 0.125)]
    assert {(row["owner"], row["through"]) for row in ran.rows("CROSSINGS")} == {("K", "T"), ("M", "T"), ("M", "K")}


def test_a34_whom_to_tell():
    assert owners(run("ownertable", **a34(), POINT=point(0, 500))) == ["T", "K", "M"]
    ran = run("ownertable", **a34(), POINT=point(0, 1500))
    assert owners(ran) == ["K", "M"]
    assert ran.rows("TABLE")[0]["contact"] == "phone of K"
    assert "To tell: K, M." in ran.heard.infos
    assert owners(run("ownertable", **a34(), POINT=point(0, 1500), DOWNSTREAM=True)) == ["K", "M", "T"]


def test_land_in_no_field_is_told():
    inputs = a34()
    inputs["LAND"] = in_ohio([b.box("F0", -500, 0, 5000, 1000, owner="T")])
    ran = run("ownertable", **inputs, POINT=point(0, 500))
    assert owners(ran) == ["T"]
    assert "4.00 acres" in ran.heard.sentence_with("nobody can be told")


def test_a_layer_of_land_without_polygons_is_refused():
    nothing = layer([{**b.box("F", 0, 0, 1, 1), "geometry": shapely.Polygon()}], OHIO)
    inputs = {**a34(), "LAND": nothing}
    assert "holds no polygons" in refusal("ownertable", **inputs)


def test_the_sample_is_read_and_not_changed(tmp_path):
    path = tmp_path / "county.gpkg"
    write_archive(path)
    before = content_hash(path)
    inputs = {key: f"{path}|layername={name}" for key, name in (
        ("DRAINS", "drains"), ("STRUCTURES", "structures"), ("LAND", "land"))}
    ran = run("ownertable", **inputs, POINT=point(1000, 905))
    assert [(row["owner"], round(row["area"], 3)) for row in ran.rows("TABLE")] == [
        ("Ebbing Kiln Farm", 40.0), ("Tarrowick Farm", 5.311), ("Meeting hall", 0.689), ("Ossel County", 0.0)]
    table = run("ownertable", **inputs)
    rows = {row["owner"]: row for row in table.rows("TABLE")}
    assert rows["Low Sedge Farm"]["without_outlet"] == pytest.approx(8.0, abs=1e-3)
    assert content_hash(path) == before
