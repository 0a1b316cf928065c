"""rankpipes through Processing: known answers, the sample archive, chances somebody gives."""

import builders as b
import networks
import pytest
from algorithm_runs import content_hash, run
from fallkeeper.sample_project.build_sample import write_archive
from ohio import in_ohio
from qgis.core import NULL, QgsVectorLayer

pytestmark = pytest.mark.usefixtures("provider")


def a14_rows(**chance):
    mains = [b.main(f"M{k}", (0, 1000 * k), (0, 1000 * (k - 1))) for k in (1, 2, 3)]
    laterals = [b.lateral(name, (acres * 871.2, y), (0, y)) for name, y, acres in (
        ("a", 1000, 2.0), ("b", 2000, 1.0), ("c", 2000, -0.5), ("d", 3000, 3.0))]
    return [{**row, "yearly_chance": chance.get(row["drain_id"], 0.001)} if chance else row for row in mains + laterals]


def rank(rows, **more):
    ran = run("rankpipes", DRAINS=in_ohio(rows), STRUCTURES=in_ohio([b.outlet(0, 0)]), **more)
    return ran, {row["drain_id"]: row for row in ran.rows("PIPES")}


def test_a14_acres_with_a_tie():
    ran, rows = rank(a14_rows())
    assert {key: row["area_lost"] for key, row in rows.items()} == pytest.approx(
        {"M1": 6.5, "M2": 4.5, "M3": 3.0, "d": 3.0, "a": 2.0, "b": 1.0, "c": 0.5}, abs=0.001)
    assert [row["rank"] for row in ran.rows("PIPES")] == [1, 2, 3, 3, 5, 6, 7]
    assert any("Ranked by land lost if plugged" in said for said in ran.heard.infos)


def test_a14_with_the_chances_in_a_field():
    ran, rows = rank(a14_rows(M1=0.01, M2=0.05, M3=0.01))
    assert [row["drain_id"] for row in ran.rows("PIPES")][:2] == ["M2", "M1"]
    assert rows["M2"]["expected_loss"] == pytest.approx(0.225, abs=1e-4)
    _, by_area = rank(a14_rows(M1=0.01, M2=0.05, M3=0.01), RANK_BY="area_lost")
    assert by_area["M1"]["rank"] == 1


def test_a_chance_that_is_none_is_told_and_not_used():
    ran, rows = rank(a14_rows(M1=7.0, M2=0.05))
    assert "no chance from 0 to 1" in ran.heard.sentence_with("yearly_chance")
    assert 0 < rows["M1"]["yearly_chance"] < 0.1


def test_a15_nothing_is_lost_where_another_way_is_open():
    _, rows = rank(networks.a15_rows())
    assert rows["21"]["area_lost"] == pytest.approx(0.0, abs=1e-9)
    assert rows["21"]["other_way"]
    assert rows["1O"]["area_lost"] == pytest.approx(3.0, abs=0.001)


def test_unknown_flow_has_no_rank():
    rows = [b.lateral("P", (0, 0), (0, 100)), b.lateral("Q", (90, 100), (0, 100))]
    ran = run("rankpipes", DRAINS=in_ohio(rows))
    assert {(row["area_lost"], row["rank"]) for row in ran.rows("PIPES")} <= {(NULL, NULL), (None, None)}
    ran.heard.sentence_with("have no rank")


def test_the_sample_with_trees_and_land(tmp_path):
    """The oldest clay ranks high for its chance; the file is not changed; whose land is lost is named."""
    path = tmp_path / "county.gpkg"
    write_archive(path)
    before = content_hash(path)

    def of(name):
        return f"{path}|layername={name}"

    ran = run("rankpipes", DRAINS=of("drains"), STRUCTURES=of("structures"), LAND=of("land"),
              TREES=[of("trees"), of("tree_rows"), of("woods")], RANK_BY="expected_loss")
    rows = ran.rows("PIPES")
    first = rows[0]
    assert (first["drain_id"], first["rank"]) == ("A-1", 1)
    assert "within 50 ft of trees" in first["why"], "roots beside the hall"
    assert first["owners"].startswith("Ebbing Kiln Farm 40.0")
    expected = [row["expected_loss"] for row in rows]
    assert expected == sorted(expected, reverse=True)
    lost = {(row["drain_id"], round(row["station_from"])): row["area_lost"] for row in rows}
    assert lost["A-1", 0] == pytest.approx(80.0, abs=0.001)
    assert lost["B-1", 0] == pytest.approx(54.0, abs=0.001), "16 acres hang on a bridge nobody has accepted"
    assert content_hash(path) == before


def test_age_counts_where_the_archive_knows_it(tmp_path):
    path = tmp_path / "county.gpkg"
    write_archive(path)
    drains = QgsVectorLayer(f"{path}|layername=drains", "drains", "ogr")
    index = drains.fields().lookupField("installed_on")
    assert drains.startEditing()
    for feature in drains.getFeatures("\"drain_id\" = 'B-2'"):
        drains.changeAttributeValue(feature.id(), index, "1926-05-01")
    assert drains.commitChanges()
    ran = run("rankpipes", DRAINS=drains, STRUCTURES=f"{path}|layername=structures")
    assert {row["why"] for row in ran.rows("PIPES") if row["drain_id"] == "B-2"} != {""}
    assert all("years old" in row["why"] for row in ran.rows("PIPES") if row["drain_id"] == "B-2")
