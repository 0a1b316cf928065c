"""Lines edited in QGIS as people do: checkdrains finds the ends that moved without their inverts, and those alone."""

import pytest
from algorithm_runs import run
from archives import copied_sample
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.sample_project import rows
from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsVectorLayer

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture
def drains(tmp_path):
    return open_layer(copied_sample(tmp_path), "drains")


def stale(layer):
    ran = run("checkdrains", DRAINS=layer, CHECKS=["stale-inverts"], LAND=None, REPORT=None)
    assert ran["CRASHED_COUNT"] == 0
    found = sorted((row["drain_id"], round(row["value"], 1)) for row in ran.rows("POINT_FINDINGS"))
    return found, ran.rows("NOT_CHECKED")


def feature(layer, key):
    (found,) = layer.getFeatures(f"drain_id = '{key}'")
    return found


def place(x, y):
    return QgsPointXY(rows.ORIGIN_FT[0] + x, rows.ORIGIN_FT[1] + y)


def test_the_sample_has_none_and_all_is_known(drains):
    assert stale(drains) == ([], [])


def test_an_end_dragged_in_qgis(drains):
    before = feature(drains, "F1-14")
    start = before.geometry().asPolyline()[0]
    assert drains.startEditing()
    assert drains.moveVertex(start.x() - 20.0, start.y(), before.id(), 0)
    assert drains.commitChanges()
    assert stale(drains) == ([("F1-14", 20.0)], [])


def test_turned_and_saved_with_its_inverts_swapped_is_right(drains):
    """QGIS saves shape and figures one after the other."""
    row = feature(drains, "A-1")
    start, end = drains.fields().indexOf("invert_start"), drains.fields().indexOf("invert_end")
    turned = QgsGeometry.fromPolylineXY(row.geometry().asPolyline()[::-1])
    drains.startEditing()
    drains.changeGeometry(row.id(), turned)
    assert drains.commitChanges(False)
    assert [key for key, _ in stale(drains)[0]] == ["A-1", "A-1"]
    drains.changeAttributeValue(row.id(), start, row["invert_end"])
    drains.changeAttributeValue(row.id(), end, row["invert_start"])
    assert drains.commitChanges()
    assert stale(drains)[0] == []


def test_the_split_tool_of_qgis(drains):
    row = feature(drains, "A-1")
    length = row.geometry().length()
    drains.startEditing()
    drains.splitFeatures([place(900, 905), place(1100, 905)])
    added = drains.editBuffer().addedFeatures()
    key = drains.fields().indexOf("drain_id")
    for number in added:
        drains.changeAttributeValue(number, key, "A-1 upper")
    assert drains.commitChanges(), drains.commitErrors()
    found, not_checked = stale(drains)
    assert {name for name, _ in found} == {"A-1", "A-1 upper"}
    assert sum(value for _, value in found) == pytest.approx(length, abs=0.2)
    assert not_checked == []


def test_lines_that_lie_in_no_archive_are_not_checked(qgis_app):
    layer = QgsVectorLayer("LineString?crs=EPSG:3734&field=drain_id:string&field=role:string", "lines", "memory")
    row = feature_of(layer)
    layer.dataProvider().addFeature(row)
    found, not_checked = stale(layer)
    assert found == []
    (said,) = not_checked
    assert said["check"] == "stale-inverts" and "in no archive" in said["why"]


def feature_of(layer):
    row = QgsFeature(layer.fields())
    row.setGeometry(QgsGeometry.fromPolylineXY([place(0, 0), place(100, 0)]))
    row["drain_id"], row["role"] = "a", "main"
    return row
