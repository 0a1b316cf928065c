"""Settling joints from the findings of the dock: made, disproved, one or all in view; one edit, undone, never saved."""

import pytest
from docks import checked, extent, settled, until
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.qgis_layer.archive import create_archive
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.sample_project import rows
from qgis.core import QgsCoordinateReferenceSystem, QgsProject
from shapely import LineString, Point, to_wkb


@pytest.fixture
def dock(opened, desktop, tmp_path):
    """A main with two laterals that end 0.5 ft short of it, and one that crosses it; checked."""
    path = tmp_path / "county.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem(rows.CRS), "us")
    x, y = rows.ORIGIN_FT

    def line(*places):
        return to_wkb(LineString([(x + east, y + north) for east, north in places]))

    with archive_batch(path, "test", "a small system") as batch:
        batch.insert("drains", {"drain_id": "M", "role": "main"}, line((0, 0), (0, 900)))
        for number, far in enumerate((300, 600)):
            batch.insert("drains", {"drain_id": f"L{number}", "role": "lateral", "spacing": 50.0},
                         line((0.5, far), (400, far)))
        batch.insert("drains", {"drain_id": "X", "role": "lateral", "spacing": 50.0}, line((-100, 450), (400, 450)))
        batch.insert("structures", {"structure_id": "O", "kind": "outlet"}, to_wkb(Point(x, y)))
    add_archive(QgsProject.instance(), path)
    made = opened()
    desktop.canvas.setDestinationCrs(QgsCoordinateReferenceSystem(rows.CRS))
    desktop.canvas.setExtent(extent(-200, -100, 600, 1000))
    return checked(made)


def groups(dock):
    model = dock.findings._model
    return {model.check_at(model.index(row, 0)): model.index(row, 0) for row in range(model.rowCount())}


def choose(dock, check, row=None):
    index = groups(dock)[check]
    dock.findings._tree.setCurrentIndex(index if row is None else dock.findings._model.index(row, 0, index))


def structures(dock):
    return dock.session.archive.layers["structures"]


def joints(dock):
    return [f for f in structures(dock).getFeatures() if f["kind"] == "joint"]



def test_all_of_a_group_are_joined_in_one_edit_and_the_network_follows(dock):
    choose(dock, "proposed-joint")
    fix = dock.findings._joints
    assert fix.isVisibleTo(dock.findings) and "2 ringed places" in fix._words.text()
    fix._join.click()
    assert {f["evidence"] for f in joints(dock)} == {"drawn"} and len(joints(dock)) == 2
    assert structures(dock).isEditable() and structures(dock).undoStack().count() == 1
    assert "not saved yet" in fix._words.text()
    settled(dock)
    until(lambda: "proposed-joint" not in groups(dock), "findings without the joints")
    structures(dock).undoStack().undo()
    assert joints(dock) == []
    settled(dock)
    until(lambda: "proposed-joint" in groups(dock), "the joints proposed again")
    structures(dock).rollBack()


def test_one_is_disproved_and_not_proposed_again(dock):
    choose(dock, "proposed-joint", 0)
    dock.findings._joints._apart.click()
    (made,) = joints(dock)
    assert made["evidence"] == "disproved" and made["structure_id"]
    settled(dock)
    until(lambda: len(dock.findings._model.rows_at(groups(dock)["proposed-joint"])[1]) == 1, "one joint less")
    structures(dock).rollBack()


def test_a_crossing_becomes_a_joint(dock):
    choose(dock, "crossing-not-joined", 0)
    dock.findings._joints._join.click()
    (made,) = joints(dock)
    at = made.geometry().asPoint()
    assert (at.x() - rows.ORIGIN_FT[0], at.y() - rows.ORIGIN_FT[1]) == pytest.approx((0, 450), abs=1e-3)
    settled(dock)
    until(lambda: "crossing-not-joined" not in groups(dock), "findings without the crossing")
    structures(dock).rollBack()


def test_nothing_is_offered_for_other_findings_and_read_only_layers_are_left_alone(dock):
    other = next(check for check in groups(dock) if check not in ("proposed-joint", "crossing-not-joined"))
    choose(dock, other)
    assert not dock.findings._joints.isVisibleTo(dock.findings)
    choose(dock, "proposed-joint")
    structures(dock).setReadOnly(True)
    dock.findings._joints._join.click()
    assert "is read-only" in dock.findings._joints._words.text() and not structures(dock).isEditable()
    structures(dock).setReadOnly(False)
    QgsProject.instance().removeMapLayer(structures(dock).id())
    until(lambda: "structures" not in dock.session.archive.layers)
    dock.findings._joints.settle("drawn")
    assert "no layer of structures" in dock.findings._joints._words.text()
