"""recordrepair through Processing: two clicks or a drawn line, and the days before and after (scenario S5.11)."""

import datetime
import sqlite3
from contextlib import closing

import pytest
from algorithm_runs import Heard, content_hash, refusal, run
from county_files import bridged_county
from fallkeeper.plugin.history.undo import Chosen, undo
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.sample_project import rows
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QDate

pytestmark = pytest.mark.usefixtures("provider")

START = datetime.date(2026, 1, 1)
R1 = ((1000, 1075), (900, 1075), (900, 725), (1000, 725))


@pytest.fixture
def path(qgis_app, tmp_path):
    return bridged_county(tmp_path / "county ü.gpkg")


def day(number):
    return QDate(START + datetime.timedelta(days=number - 1))


def point(x, y):
    return QgsPointXY(rows.ORIGIN_FT[0] + x, rows.ORIGIN_FT[1] + y)


def layer_of(*lines, crs="EPSG:3734"):
    layer = QgsVectorLayer(f"LineString?crs={crs}", "new pipe", "memory")
    there = QgsCoordinateTransform(QgsCoordinateReferenceSystem("EPSG:3734"), layer.crs(), QgsProject.instance())
    for places in lines:
        feature = QgsFeature(layer.fields())
        shape = QgsGeometry.fromPolylineXY([point(*place) for place in places])
        shape.transform(there)
        feature.setGeometry(shape)
        layer.dataProvider().addFeature(feature)
    return layer


def network(path, number, tmp_path):
    drawn = run("archiveat", ARCHIVE=str(path), DATE=day(number), OUTPUT=str(tmp_path / f"{number}.gpkg"))
    built = run("buildnetwork", DRAINS=drawn["DRAINS"], STRUCTURES=drawn["STRUCTURES"])
    acres = max(row["area_above"] for row in built.rows("PIPES") if row["drain_id"] == "A-1")
    drains = QgsVectorLayer(drawn["DRAINS"], "x", "ogr").getFeatures()
    return acres, built["NO_OUTLET_COUNT"], {row["drain_id"]: row["status"] for row in drains}


def test_s5_11_main_a_round_the_trees(path, tmp_path):
    before = held(path)
    ran = run("recordrepair", ARCHIVE=str(path), DONE_ON=day(130), DRAIN_ID="A-1", ROUTE=layer_of(R1), DIAMETER=15,
              MATERIAL="smooth_plastic", OPENINGS="none", FOUND="roots", DONE="led round the trees", WHO="Ada",
              LOCATED_BY="level", INVERT_FROM=696.675, INVERT_TO=696.325)
    assert (ran["LENGTH"], ran["LEFT_BEHIND_COUNT"], ran["CROSSED_COUNT"]) == (pytest.approx(550.0), 14, 7)
    assert "F1-14, F1-15" in ran.heard.sentence_with("end on the old pipe", "nothing was moved")
    acres, orphans, status = network(path, 110, tmp_path)
    assert (acres, orphans) == (pytest.approx(80.0, abs=0.001), 0)
    assert ran["NEW_DRAIN"] not in status and status[ran["OLD_DRAIN"]] == "in_ground"
    acres, orphans, status = network(path, 140, tmp_path)
    assert (acres, orphans) == (pytest.approx(66.0, abs=0.001), 14)  # the laterals of the old run were not tied in
    assert (status[ran["OLD_DRAIN"]], status[ran["NEW_DRAIN"]]) == ("abandoned", "in_ground")
    with closing(sqlite3.connect(path)) as connection:
        told = connection.execute("SELECT who, why, at FROM history WHERE batch = ?", [ran["BATCH"]]).fetchall()
        drain = connection.execute("SELECT drain_id, found FROM repairs WHERE repair_id = ?",
                                   [ran["REPAIR_ID"]]).fetchone()
    assert {row[:2] for row in told} == {("Ada", "Repair of A-1 on 2026-05-10: roots; led round the trees")}
    assert all(row[2].endswith("Z") for row in told) and drain == (ran["NEW_DRAIN"], "roots")
    undo(path, Chosen(batch=ran["BATCH"]), "Ada")
    assert held(path) == before


def held(path):
    with closing(sqlite3.connect(path)) as connection:
        return {table: connection.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall()
                for table in ("drains", "repairs", "shots", "accepted")}


def test_two_clicks_where_the_old_pipe_lay(path, tmp_path):
    """Everything drains as before; the clicks may come in another coordinate system."""
    there = QgsCoordinateTransform(QgsCoordinateReferenceSystem("EPSG:3734"), QgsCoordinateReferenceSystem("EPSG:4326"),
                                   QgsProject.instance())
    one, other = (there.transform(point(*place)) for place in ((1003, 725), (998, 1075)))
    ran = run("recordrepair", ARCHIVE=str(path), DONE_ON=day(130), DIAMETER=15,
              FROM_POINT=f"{one.x():.12f},{one.y():.12f} [EPSG:4326]",
              TO_POINT=f"{other.x():.12f},{other.y():.12f} [EPSG:4326]")
    assert ran["LENGTH"] == pytest.approx(350.0, abs=0.01)
    assert (ran["LEFT_BEHIND_COUNT"], ran["CROSSED_COUNT"]) == (0, 0)
    assert network(path, 140, tmp_path)[:2] == (pytest.approx(80.0, abs=0.001), 0)
    drains = {row["drain_id"]: row for row in open_layer(path, "drains").getFeatures()}
    assert drains[ran["NEW_DRAIN"]]["name"] == "Main A"
    assert drains[ran["OLD_DRAIN"]]["replaced_by"] == ran["NEW_DRAIN"]


@pytest.mark.parametrize(("told", "words"), [
    ({}, "Say which drain was repaired"),
    ({"DRAIN_ID": "A-1"}, "Give one of these"),
    ({"FROM_POINT": "2101000,800725"}, "Give both places"),
    ({"DRAIN_ID": "A-1", "STATION_FROM": 5000, "STATION_TO": 6000}, "is no stretch of drain A-1"),
])
def test_refused_in_a_sentence(path, told, words):
    before = content_hash(path)
    assert words in refusal("recordrepair", ARCHIVE=str(path), DONE_ON=day(130), **told)
    assert content_hash(path) == before


def test_one_line_only(path):
    said = refusal("recordrepair", ARCHIVE=str(path), DONE_ON=day(130), DRAIN_ID="A-1", ROUTE=layer_of(R1, R1))
    assert "holds 2 lines" in said


def test_not_while_a_layer_is_edited(path):
    layer = open_layer(path, "drains")
    QgsProject.instance().addMapLayer(layer)
    layer.startEditing()
    heard = Heard()
    refusal("recordrepair", heard, ARCHIVE=str(path), DONE_ON=day(130), DRAIN_ID="A-1", STATION_FROM=1, STATION_TO=90)
    assert "is in edit mode" in " ".join(heard.errors)
    layer.rollBack()
    QgsProject.instance().clear()


def test_a_repair_without_a_day_is_of_today(path):
    ran = run("recordrepair", ARCHIVE=str(path), DRAIN_ID="A-1", FROM_POINT=point(1000, 880), TO_POINT=point(1000, 930),
              MATERIAL="smooth_plastic", OPENINGS="none", DONE="replaced")
    assert ran["BATCH"]
    with closing(sqlite3.connect(path)) as file:
        ((done_on,),) = file.execute("SELECT date(done_on) FROM repairs WHERE done = 'replaced'").fetchall()
    assert done_on == datetime.date.today().isoformat()
