"""undobatch through Processing: list, look, take back, and what stands in the way."""

import sqlite3
from contextlib import closing

import layouts
import pytest
from algorithm_runs import Heard, content_hash, refusal, refused, run
from archives import dump
from county_files import bridged_county
from fallkeeper.plugin.qgis_layer.archive_edit import user_name
from fallkeeper.sample_project import rows as sample
from qgis.core import QgsProject, QgsVectorLayer
from qgis.PyQt.QtCore import QDate
from qgis_layers import layer

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture
def county(qgis_app, tmp_path):
    return bridged_county(tmp_path / "county ü.gpkg")


def rows(path):
    return {name: held for name, held in dump(path).items() if name != "history"}


def merged(county):
    layout = layer(layouts.f7_rows(), sample.CRS, "F7 layout", origin=sample.ORIGIN_FT)
    return run("acceptlayout", ARCHIVE=str(county), LAYOUT=layout, JOIN_TOLERANCE=5.0, WHO="Ada")["BATCH"]


def edit(path, **changes):
    """By the edit buffer of QGIS, which fills in who: drain -> note."""
    opened = QgsVectorLayer(f"{path}|layername=drains", "Drains", "ogr")
    assert opened.startEditing()
    for feature in opened.getFeatures():
        if feature["drain_id"] in changes:
            opened.changeAttributeValue(feature.id(), opened.fields().indexOf("note"), changes[feature["drain_id"]])
    assert opened.commitChanges(), opened.commitErrors()


def test_a_merge_is_taken_back_and_the_undo_too(county):
    before = rows(county)
    batch = merged(county)
    after = rows(county)
    assert after != before
    ran = run("undobatch", ARCHIVE=str(county), BATCH=batch, WHO="Bo")
    assert rows(county) == before
    changes = {row["change"] for row in ran.rows("ROWS")}
    assert changes == {"taken out"} and ran["ROW_COUNT"] == len(ran.rows("ROWS")) == 6 + 1 + 12
    assert run("undobatch", ARCHIVE=str(county), BATCH=ran["UNDO"])["ROW_COUNT"] == 19
    assert rows(county) == after


def test_the_list_of_what_was_done(county):
    batch = merged(county)
    edit(county, **{"A-1": "seen"})
    held = content_hash(county)
    ran = run("undobatch", ARCHIVE=str(county))
    by_hand, merge = ran.rows("BATCHES")[:2]
    assert not by_hand["batch"]
    assert (by_hand["kind"], by_hand["who"], by_hand["changes"]) == ("by hand", user_name(), 1)
    assert (merge["batch"], merge["kind"], merge["who"], merge["why"]) == (batch, "merge", "Ada", "Layout F7 layout")
    assert (merge["changes"], merge["layers"]) == (19, "layouts, drains, layout_lines")
    assert (ran["ROW_COUNT"], ran["UNDO"], ran.rows("ROWS")) == (0, "", [])
    assert any(batch in info for info in ran.heard.infos)
    assert content_hash(county) == held


def test_only_looking_says_what_stands_in_the_way(county):
    batch = merged(county)
    edit(county, N1="wet here", N2="wet here")
    held = content_hash(county)
    ran = run("undobatch", ARCHIVE=str(county), BATCH=batch, LOOK=True)
    assert (ran["ROW_COUNT"], ran["CONFLICT_COUNT"], ran["UNDO"]) == (19, 2, "")
    in_the_way = {row["key"]: row["conflict"] for row in ran.rows("ROWS") if row["conflict"]}
    assert set(in_the_way) == {"N1", "N2"} and "drain N1 was changed on" in in_the_way["N1"]
    heard = Heard()
    with pytest.raises(Exception, match=r"drain N1 was changed on .* by .*; drain N2 was changed"):
        run("undobatch", heard, ARCHIVE=str(county), BATCH=batch)
    assert content_hash(county) == held


def test_a_days_work_of_one_person(county):
    batch = merged(county)
    before = rows(county)
    edit(county, **{"A-1": "seen", "N1": "wet"})
    ran = run("undobatch", ARCHIVE=str(county), DAY=QDate.currentDate(), DONE_BY=user_name())
    assert ran["ROW_COUNT"] == 2
    assert rows(county) == before
    run("undobatch", ARCHIVE=str(county), BATCH=batch)  # and now nothing stands in the way of that


def test_open_layers_show_it_and_edit_mode_refuses(county):
    batch = merged(county)
    opened = QgsVectorLayer(f"{county}|layername=drains", "Drains", "ogr")
    QgsProject.instance().addMapLayer(opened)
    try:
        count = opened.featureCount()
        assert opened.startEditing()
        assert "is in edit mode" in refused("undobatch", ARCHIVE=str(county), BATCH=batch)
        run("undobatch", ARCHIVE=str(county))  # looking is allowed
        opened.rollBack()
        run("undobatch", ARCHIVE=str(county), BATCH=batch)
        assert opened.featureCount() == count - 6
    finally:
        QgsProject.instance().removeMapLayer(opened.id())


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"BATCH": "merge-none"}, "has no batch 'merge-none'"),
        ({"BATCH": "x", "DAY": QDate(2026, 5, 1)}, "a batch or a day, not both"),
        ({"DONE_BY": user_name()}, "Give the day too"),
        ({"DAY": QDate(1950, 5, 1)}, "knows nothing of the work of 1950-05-01"),
    ],
)
def test_what_cannot_be_is_said(county, given, said):
    held = content_hash(county)
    assert said in refusal("undobatch", ARCHIVE=str(county), **given)
    assert content_hash(county) == held


def test_the_file_is_a_sound_geopackage_afterwards(county):
    run("undobatch", ARCHIVE=str(county), BATCH=merged(county))
    with closing(sqlite3.connect(county)) as file:
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert file.execute("SELECT rtreecheck('rtree_drains_geom')").fetchone() == ("ok",)
