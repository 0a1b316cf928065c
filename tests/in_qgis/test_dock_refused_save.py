"""After a save that was refused, the message bar says what was written, what was not, and what to do next."""

import sqlite3
import stat
from contextlib import closing

import pytest
from docks import place, until
from fallkeeper.plugin.qgis_layer.project import add_archive
from permissions import permissions_hold
from qgis.core import QgsApplication, QgsGeometry, QgsPointXY, QgsProject, QgsVectorLayerUtils


@pytest.fixture
def readings(dock):
    layer = dock.session.archive.layers["readings"]
    yield layer
    layer.rollBack()


def edit(layer, key=None):
    """One row moved and changed, one new."""
    fields = layer.fields()
    assert layer.startEditing()
    row = next(layer.getFeatures("reading_id = 'R-1'"))
    layer.changeGeometry(row.id(), QgsGeometry.fromPointXY(QgsPointXY(*place(950, 1000))))
    layer.changeAttributeValue(row.id(), fields.indexOf("observer"), "crew")
    shape = QgsGeometry.fromPointXY(QgsPointXY(*place(940, 1030)))
    new = QgsVectorLayerUtils.createFeature(layer, shape, {fields.indexOf("kind"): "boil"})
    new["reading_id"] = key or new["reading_id"]
    layer.addFeature(new)


def save(layer, desktop):
    """As QGIS does on the user's word; gives what the message bar then says."""
    desktop.bar.clearWidgets()
    saved = layer.commitChanges()
    QgsApplication.processEvents()
    return saved, desktop.said()


def in_file(archive, asked):
    with closing(sqlite3.connect(archive)) as file:
        return file.execute(asked).fetchone()[0]


def test_a_save_that_went_well_says_nothing(readings, desktop):
    edit(readings)
    assert save(readings, desktop) == (True, "")


def test_a_locked_file(readings, desktop, archive):
    edit(readings)
    with closing(sqlite3.connect(archive, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        saved, said = save(readings, desktop)
        other.execute("ROLLBACK")
    assert not saved and "'Readings' was not saved as a whole" in said
    assert "Not written: 1 new row, the fields of 1 row, the place of 1 row. Written: nothing." in said
    assert "wait until the other program has done with the file" in said and "still among the edits" in said
    assert save(readings, desktop) == (True, ""), "the same edits, once the file is free"
    assert in_file(archive, "SELECT observer FROM readings WHERE reading_id = 'R-1'") == "crew"


def test_a_key_twice_after_the_rest_was_written(readings, desktop, archive):
    edit(readings, key="R-2")
    saved, said = save(readings, desktop)
    assert not saved and "Not written: 1 new row. Written: the fields of 1 row, the place of 1 row." in said
    assert "keys must differ" in said and "another key in its form" in said
    assert in_file(archive, "SELECT observer FROM readings WHERE reading_id = 'R-1'") == "crew", "as was said"
    assert in_file(archive, "SELECT count(*) FROM readings") == 8
    assert len(readings.editBuffer().addedFeatures()) == 1


def test_a_place_that_is_written_while_the_fields_of_the_row_are_refused(readings, desktop, archive):
    assert readings.startEditing()
    row = next(readings.getFeatures("reading_id = 'R-3'"))
    before = in_file(archive, "SELECT hex(geom) FROM readings WHERE reading_id = 'R-3'")
    readings.changeGeometry(row.id(), QgsGeometry.fromPointXY(QgsPointXY(*place(950, 1000))))
    readings.changeAttributeValue(row.id(), readings.fields().indexOf("depth"), -3.0)
    saved, said = save(readings, desktop)
    assert not saved and "Not written: the fields of 1 row. Written: the place of 1 row." in said
    assert "Depth must be a number, 0 or more" in said
    assert in_file(archive, "SELECT hex(geom) FROM readings WHERE reading_id = 'R-3'") != before


def test_a_file_that_may_only_be_read(opened, desktop, archive):
    archive.chmod(stat.S_IRUSR)
    with permissions_hold():
        layer = add_archive(QgsProject.instance(), archive)["readings"]
        dock = opened()
        until(lambda: dock.session.loaded is not None)
        edit(layer)
        saved, said = save(layer, desktop)
    assert not saved and "Written: nothing. Reason: attempt to write a readonly database." in said
    assert "make the file writable" in said and len(layer.editBuffer().addedFeatures()) == 1
    layer.rollBack()


def test_several_layers_saved_at_one_go_are_told_as_one(readings, desktop, dock):
    calls = dock.session.archive.layers["calls"]
    calls.startEditing()
    calls.changeAttributeValue(1, calls.fields().indexOf("caller"), "office")
    edit(readings, key="R-2")
    calls.commitChanges()
    saved, said = save(readings, desktop)
    assert not saved and said.count("was not saved") == 1 and "Saved as a whole: Calls." in said


def test_nothing_is_said_after_the_dock_is_closed(readings, desktop, dock):
    dock._saves.release()
    edit(readings, key="R-2")
    assert save(readings, desktop) == (False, "")
