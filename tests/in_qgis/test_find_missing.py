"""findmissing through Processing: a row with a gap, and the sample archive, to which nothing is added."""

import builders as b
import pytest
from algorithm_runs import content_hash, run
from combs import comb
from fallkeeper.sample_project.build_sample import write_archive
from ohio import ORIGIN, in_ohio, point
from qgis.core import QgsFeature, QgsVectorLayer

pytestmark = pytest.mark.usefixtures("provider")


def shapes_of(result):
    return [feature.geometry().asPolyline() for feature in result.getFeatures()]


def test_a27_the_row_with_a_gap():
    ran = run("findmissing", DRAINS=in_ohio(comb((0, 50, 100, 200, 250))))
    (tooth,) = [row for row in ran.rows("PROBABLE") if row["kind"] == "missing-lateral"]
    assert tooth["area"] == pytest.approx(1.0, abs=0.001)
    lines = dict(zip((row["kind"] for row in ran.rows("PROBABLE")), shapes_of(ran["PROBABLE"])))
    assert [p.y() - ORIGIN[1] for p in lines["missing-lateral"]] == pytest.approx([150, 150], abs=3)
    ran.heard.sentence_with("No LAND was given")


def test_a28_the_row_without_a_main():
    rows = [b.lateral(f"L{k}", (x, y), (x + 871.2, y), invert_start=95 + 0.001 * y, invert_end=96 + 0.001 * y,
                      located_by="level")
            for k, (x, y) in enumerate(((10, 0), (9, 50), (11, 100), (10, 150), (10, 200)))]
    ran = run("findmissing", DRAINS=in_ohio(rows))
    (main,) = ran.rows("PROBABLE")
    assert (main["kind"], main["flow_known"]) == ("unmapped-main", True)
    assert main["area"] == pytest.approx(5.0, abs=0.001)
    (line,) = shapes_of(ran["PROBABLE"])
    assert [p.x() - ORIGIN[0] for p in line] == pytest.approx([10, 10], abs=1)
    assert line[-1].y() - ORIGIN[1] == pytest.approx(0, abs=1)


def test_a05_and_s5_9_on_the_sample(tmp_path):
    path = tmp_path / "county.gpkg"
    write_archive(path)
    before = content_hash(path)
    inputs = {key: f"{path}|layername={name}" for key, name in (
        ("DRAINS", "drains"), ("STRUCTURES", "structures"), ("LAND", "land"))}
    ran = run("findmissing", **inputs)
    rows = {row["kind"]: row for row in ran.rows("PROBABLE")}
    assert set(rows) == {"gap-in-main", "missing-lateral"}
    assert ran["PROBABLE_COUNT"] == 2
    assert (rows["gap-in-main"]["length"], rows["gap-in-main"]["area"]) == pytest.approx((80.0, 16.0), abs=0.001)
    assert rows["missing-lateral"]["area"] == pytest.approx(1.0, abs=0.001)
    assert "same size, 12 in" in rows["gap-in-main"]["reasons"]
    lacking = ran.drains("LINE_FINDINGS", check="no-outlet")
    assert len(lacking) == 17
    assert len([key for key in lacking if key.startswith("F")]) == 16
    doubts = ran.rows("DOUBTS")
    assert [row["area"] for row in doubts] == sorted((row["area"] for row in doubts), reverse=True)
    assert content_hash(path) == before

    # once the office has drawn the bridge, all 70 acres come to OB
    drains = QgsVectorLayer(inputs["DRAINS"], "drains", "ogr")
    bridge = next(f for f in ran["PROBABLE"].getFeatures() if f["kind"] == "gap-in-main")
    added = QgsFeature(drains.fields())
    added["drain_id"], added["role"], added["evidence"] = "bridge", bridge["role"], bridge["evidence"]
    added.setGeometry(bridge.geometry())
    assert drains.startEditing() and drains.addFeature(added) and drains.commitChanges()
    at_ob = run("traceupstream", DRAINS=inputs["DRAINS"], STRUCTURES=inputs["STRUCTURES"],
                POINT=point(4000, 0))
    assert at_ob["AREA_ABOVE"] == pytest.approx(70.0, abs=0.001)
