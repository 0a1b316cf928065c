"""QGIS's own Split and Reverse leave the figures of the ends behind: noticed, said at once, mended on a click."""

import shutil
from pathlib import Path

import pytest
from docks import extent, until
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.qgis_layer.archive import create_archive
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.sample_project import rows
from qgis.core import QgsCoordinateReferenceSystem, QgsFeature, QgsGeometry, QgsPointXY, QgsProject
from qgis.PyQt.QtCore import QCoreApplication, QEvent
from qgis.PyQt.QtWidgets import QApplication, QPushButton
from shapely import LineString, Point, to_wkb

X, Y = rows.ORIGIN_FT


@pytest.fixture(scope="module")
def small_archive(qgis_app, tmp_path_factory):
    """Three pipes of 200 ft with inverts 100.00 and 99.80; a shot on the far part of the first, a repair on the near
    one, and one accepted finding."""
    path = tmp_path_factory.mktemp("small") / "county.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem(rows.CRS), "us")
    with archive_batch(path, "test", "a small system") as batch:
        for number in range(3):
            line = LineString([(X, Y + 100 * number), (X + 200, Y + 100 * number)])
            batch.insert("drains", {"drain_id": f"K{number}", "role": "lateral", "spacing": 50.0, "invert_start": 100.0,
                                    "invert_end": 99.8, "depth_start": 3.0, "depth_end": 4.0}, to_wkb(line))
        batch.insert("shots", {"shot_id": "S", "drain_id": "K0", "elevation": 99.85, "of": "invert"},
                     to_wkb(Point(X + 150, Y)))
        batch.insert("repairs", {"repair_id": "R", "drain_id": "K0"}, to_wkb(Point(X + 20, Y)))
        batch.connection.execute(
            "INSERT INTO accepted (\"check\", drain_id, station_from, station_to, reason) VALUES "
            "('near-trees', 'K0', 120, 160, 'the tree is gone')")
        batch.note_span("accepted", None)
    return path


@pytest.fixture
def dock(opened, desktop, tmp_path, small_archive):
    path = Path(shutil.copy(small_archive, tmp_path))
    add_archive(QgsProject.instance(), path)
    made = opened()
    desktop.canvas.setDestinationCrs(QgsCoordinateReferenceSystem(rows.CRS))
    desktop.canvas.setExtent(extent(-50, -100, 300, 300))
    until(lambda: made.session.loaded is not None)
    yield made
    for layer in made.session.archive.layers.values():
        if layer.isEditable():
            layer.rollBack()


@pytest.fixture
def drains(dock):
    layer = dock.session.archive.drains
    assert layer.startEditing()
    return layer


def settle():
    for _ in range(5):
        QCoreApplication.processEvents()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def said(desktop):
    settle()
    return desktop.said()


def number_of(layer, key):
    return next(layer.getFeatures(f"\"drain_id\" = '{key}'")).id()


def row(layer, key):
    return next(layer.getFeatures(f"\"drain_id\" = '{key}'"))


def inverts(feature):
    return feature["invert_start"], feature["invert_end"]


def reverse(layer, *keys):
    """As the map tool Reverse Line does it."""
    for key in keys:
        feature = row(layer, key)
        layer.beginEditCommand("Reverse line")
        vertices = list(feature.geometry().vertices())
        assert layer.changeGeometry(feature.id(), QgsGeometry.fromPolyline(vertices[::-1]))
        layer.endEditCommand()


def split(layer, *at_ft, north=(-50, 50)):
    """As the map tool Split Features does it, across the pipes between two places north."""
    layer.beginEditCommand("Features split")
    for at in at_ft:
        result = layer.splitFeatures([QgsPointXY(X + at, Y + one) for one in north], False)
        assert int(getattr(result, "value", result)) == 0
    layer.endEditCommand()


def press(desktop, label):
    item = desktop.bar.currentItem()
    next(button for button in item.findChildren(QPushButton) if button.text() == label).click()
    settle()


def keys(layer):
    return sorted(str(feature["drain_id"]) for feature in layer.getFeatures())


def test_reverse_is_mended_in_one_click_and_undone(dock, desktop, drains):
    reverse(drains, "K0")
    assert said(desktop) == "Drain K0 was turned, its inverts and depths were not."
    assert inverts(row(drains, "K0")) == (100.0, 99.8)
    steps = drains.undoStack().count()
    press(desktop, "Mend")
    assert inverts(row(drains, "K0")) == (99.8, 100.0)
    assert (row(drains, "K0")["depth_start"], row(drains, "K0")["depth_end"]) == (4.0, 3.0)
    assert drains.undoStack().count() == steps + 1 and drains.isModified()
    assert "1 pipe mended in" in said(desktop) and "not saved yet" in said(desktop)
    accepted = next(dock.session.archive.layers["accepted"].getFeatures())
    assert (accepted["station_from"], accepted["station_to"]) == (40.0, 80.0)
    drains.undoStack().undo()
    assert "was turned," in said(desktop)
    drains.undoStack().undo()
    assert "was turned" not in said(desktop)


def test_several_at_once_are_one_message(dock, desktop, drains):
    reverse(drains, "K0", "K1", "K2")
    assert said(desktop).startswith("Drains K0, K1, K2 were turned")
    assert sum("turned" in item.text() for item in desktop.bar.items()) == 1
    press(desktop, "Mend")
    assert all(inverts(row(drains, f"K{k}")) == (99.8, 100.0) for k in range(3))


def test_undo_and_redo_of_a_reverse(dock, desktop, drains):
    reverse(drains, "K1")
    assert "turned" in said(desktop)
    drains.undoStack().undo()
    assert said(desktop) == ""
    drains.undoStack().redo()
    assert "K1 was turned" in said(desktop)


def test_split_is_mended_in_one_click(dock, desktop, drains):
    split(drains, 50)
    assert "Drain K0 was cut, its inverts and depths are still those of the whole" in said(desktop)
    press(desktop, "Mend")
    parts = {f.geometry().length(): f for f in drains.getFeatures("\"drain_id\" not in ('K1', 'K2')")}
    first, second = parts[min(parts)], parts[max(parts)]
    assert inverts(first) == (100.0, pytest.approx(99.95)) and inverts(second) == (pytest.approx(99.95), 99.8)
    assert (first["depth_end"], second["depth_start"]) == (3.25, 3.25)
    assert first["drain_id"] != second["drain_id"] and len(set(keys(drains))) == 4
    assert "assumed, since not measured but interpolated at the cut: invert_" in first["note"]
    shots, repairs, accepted = (dock.session.archive.layers[name] for name in ("shots", "repairs", "accepted"))
    assert next(shots.getFeatures())["drain_id"] == second["drain_id"]
    assert next(repairs.getFeatures())["drain_id"] == first["drain_id"]
    assert shots.isEditable() or repairs.isEditable()  # which part keeps the key is up to the version of QGIS
    found = next(accepted.getFeatures())
    assert (found["drain_id"], found["station_from"], found["station_to"]) == (second["drain_id"], 70.0, 110.0)
    assert drains.undoStack().count() == 2
    drains.undoStack().undo()
    assert "was cut" in said(desktop)
    drains.undoStack().undo()
    assert said(desktop) == "" or "cut" not in said(desktop)


def test_two_cuts_at_once_and_several_pipes(dock, desktop, drains):
    split(drains, 50, 100, north=(-50, 150))
    assert said(desktop).startswith("Drains K0, K1 were cut")
    press(desktop, "Mend")
    ends = sorted((round(f["invert_start"], 3), round(f["invert_end"], 3)) for f in drains.getFeatures())
    one = [(100.0, 99.95), (99.95, 99.9), (99.9, 99.8)]
    assert ends == sorted([*one, *one, (100.0, 99.8)])


def test_an_end_moved_by_hand_is_said_and_nothing_guessed(dock, desktop, drains):
    number = number_of(drains, "K2")
    assert drains.moveVertex(X + 212.5, Y + 200, number, 1)
    assert said(desktop) == "Drain K2 was moved at its end by 12.5 ft: inverts and depths there may be stale."
    assert [b.text() for b in desktop.bar.currentItem().findChildren(QPushButton)] == ["Show"]
    press(desktop, "Show")
    for column, value in (("invert_end", 99.79), ("depth_end", 4.1)):
        drains.changeAttributeValue(number, drains.fields().lookupField(column), value)
    assert said(desktop) == ""


def test_edits_that_leave_nothing_behind(dock, desktop, drains):
    number = number_of(drains, "K0")
    drains.insertVertex(X + 90, Y + 5, number, 1)
    drains.moveVertex(X + 200.01, Y, number, 2)
    drains.changeAttributeValue(number, drains.fields().lookupField("name"), "west")
    copy = QgsFeature(row(drains, "K1"))
    copy.setGeometry(QgsGeometry.fromPolylineXY([QgsPointXY(X, Y + 500), QgsPointXY(X + 90, Y + 500)]))
    copy.setAttribute("drain_id", "new")
    copy.setAttribute("fid", None)
    assert drains.addFeature(copy)
    assert drains.deleteFeature(number_of(drains, "K2"))
    assert said(desktop) == ""


def test_closed_is_not_said_again_and_rolled_back_is_forgotten(dock, desktop, drains):
    reverse(drains, "K0")
    assert "K0 was turned" in said(desktop)
    desktop.bar.popWidget(desktop.bar.currentItem())
    settle()
    reverse(drains, "K1")
    assert said(desktop).startswith("Drain K1 was turned")
    drains.rollBack()
    assert said(desktop) == ""
    drains.startEditing()
    reverse(drains, "K0")
    assert said(desktop).startswith("Drain K0 was turned")


def test_a_save_in_between_loses_nothing(dock, desktop, drains):
    reverse(drains, "K0")
    split(drains, 50, north=(50, 150))
    assert drains.commitChanges()
    assert "K0 was turned" in said(desktop) and "K1 was cut" in said(desktop)
    press(desktop, "Mend")
    assert drains.isEditable()
    assert inverts(row(drains, "K0")) == (99.8, 100.0)
    assert {round(f["invert_end"], 3) for f in drains.getFeatures()} == {99.95, 99.8, 100.0}
    assert drains.commitChanges()
    assert said(desktop) == "" or "was" not in said(desktop)
    assert len(set(keys(drains))) == 4


def test_nothing_happens_without_the_click_nor_after_the_end(dock, desktop, drains):
    split(drains, 50)
    settle()
    assert all(inverts(f) == (100.0, 99.8) for f in drains.getFeatures())
    assert drains.undoStack().count() == 1
    dock._notice.release()
    reverse(drains, "K1")
    assert said(desktop) == ""
    assert QApplication.instance() is not None


def test_only_what_is_touched_is_read(dock, desktop, drains, monkeypatch):
    from fallkeeper.plugin.qgis_layer import drawn_lines

    asked = []
    read = drawn_lines.read_drawn
    monkeypatch.setattr(drawn_lines, "read_drawn", lambda layer, source, numbers: (
        asked.append(sorted(numbers)), read(layer, source, numbers))[1])
    reverse(drains, "K0", "K2")
    settle()
    touched = sorted((number_of(drains, "K0"), number_of(drains, "K2")))
    assert asked == [touched, touched]
