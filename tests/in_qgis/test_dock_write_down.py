"""Calls, readings and repairs put on the map in two clicks; depths as they are measured; calls taken on."""

import datetime

import pytest
from docks import extent, place, press, settled, until
from fallkeeper.plugin.qgis_layer.archive_edit import user_name
from fallkeeper.sample_project import rows as sample_rows
from qgis.core import NULL, QgsCoordinateReferenceSystem, QgsProject, QgsRasterLayer, QgsSettings, QgsVectorLayer
from qgis.PyQt.QtCore import QEvent, Qt
from qgis.PyQt.QtGui import QKeyEvent

TODAY = datetime.date.today().isoformat()


@pytest.fixture(autouse=True)
def own_settings():
    yield
    QgsSettings().remove("fallkeeper")


@pytest.fixture
def writing(dock, desktop):
    """Turned to the panel, the map zoomed to main A between the outlet and the road."""
    desktop.canvas.setExtent(extent(500, 400, 1500, 1200))
    dock.ask(dock.write_down)
    yield dock
    for layer in dock.session.archive.layers.values() if dock.session.archive is not None else ():
        if layer.isEditable():
            layer.rollBack()


def put(dock, choice, x_ft, y_ft):
    """Two clicks; gives the rows not saved of the layer."""
    panel = dock.write_down
    panel._choices.buttons[choice].click()
    press(dock, x_ft, y_ft)
    layer = panel._put[0] if panel._put else None
    return [] if layer is None else sorted(layer.editBuffer().addedFeatures().values(), key=lambda row: -row.id())


def said(dock):
    return dock.write_down._text.toPlainText()


def choose_call(dock, call_id):
    box = dock.write_down._call._box
    box.setCurrentIndex(box.findData(call_id))
    box.activated.emit(box.currentIndex())


def at(feature):
    point = feature.geometry().asPoint()
    return point.x() - sample_rows.ORIGIN_FT[0], point.y() - sample_rows.ORIGIN_FT[1]


def day(value):
    return value.toString(Qt.DateFormat.ISODate)[:10]


def test_a_reading_on_a_pipe_in_two_clicks(writing):
    choose_call(writing, "C-1")
    (row,) = put(writing, "dry_hole", 1004, 725)
    assert (row["kind"], row["call_id"]) == ("dry_hole", "C-1") and row["reading_id"]
    assert day(row["observed_on"]) == TODAY and row["observer"] == user_name() == row["edited_by"]
    assert row["depth"] == NULL and row["flow"] == NULL
    assert at(row)[0] == pytest.approx(1000, abs=1e-6) and at(row)[1] == pytest.approx(725, abs=2), "on main A"
    readings = writing.session.archive.layers["readings"]
    assert readings.isModified() and readings.undoStack().count() == 1
    assert "Dry hole: on Main A" in said(writing) and "7+2" in said(writing)
    assert "belongs to the call 2025-03-18, Tarrowick Farm" in said(writing) and "Not saved yet" in said(writing)
    readings.undoStack().undo()
    assert not readings.editBuffer().addedFeatures()
    writing.write_down.open_form()
    assert "not there any more" in said(writing)


def test_the_tool_stays_on_and_what_is_seen_in_the_open_stays_where_it_was_clicked(writing):
    put(writing, "boil", 1003, 912)
    rows = put(writing, "boil", 1100, 930)
    assert len(rows) == 2 and at(rows[0])[0] == pytest.approx(1003, abs=2)
    assert all(row["call_id"] == NULL for row in rows) and "3 are open, and none is chosen" in said(writing)
    assert writing.write_down.map_tool.isActive()


def test_a_repair_names_the_pipe_that_was_clicked(writing):
    (row,) = put(writing, "repair", 1002, 905)
    key = next(writing.session.archive.drains.getFeatures("name = 'Main A'"))["drain_id"]
    assert row["drain_id"] == key and day(row["done_on"]) == TODAY and row["repair_id"]
    rows = put(writing, "repair", 640, 575)
    assert rows[-1]["drain_id"] == NULL and "No pipe was within reach" in said(writing)


def test_a_call_put_on_the_map_is_the_one_that_readings_then_belong_to(writing):
    (call,) = put(writing, "call", 800, 575)
    assert call["status"] == "open" and day(call["received_on"]) == TODAY
    (reading,) = put(writing, "wet_ground", 810, 580)
    assert reading["call_id"] == call["call_id"] and "4 calls are open" in said(writing)
    assert "Edits not saved elsewhere too: Calls" in said(writing)


def test_one_open_call_is_chosen_by_itself_and_without_any_it_is_said(writing):
    calls = writing.session.archive.layers["calls"]
    calls.startEditing()
    status = calls.fields().indexOf("status")
    for row in calls.getFeatures("call_id <> 'C-3'"):
        calls.changeAttributeValue(row.id(), status, "closed")
    choice = writing.write_down._call
    until(lambda: len(choice.calls) == 1, "the calls")
    assert choice.chosen.call_id == "C-3"
    choice._step.click()
    assert calls.getFeature(choice.chosen.number)["status"] == "dug" and "Call dug" in said(writing)
    steps = calls.undoStack().count()
    choice._step.click()
    assert calls.undoStack().count() == steps + 1
    closed = next(calls.getFeatures("call_id = 'C-3'"))
    assert closed["status"] == "closed" and day(closed["done_on"]) == TODAY and closed["edited_by"] == user_name()
    assert choice.calls == [] and not choice._step.isEnabled() and "No call is open" in choice._box.currentText()
    (row,) = put(writing, "probe_miss", 800, 575)
    assert row["call_id"] == NULL and "none is open" in said(writing)
    calls.undoStack().undo()
    until(lambda: choice.chosen is not None, "the call again")
    assert choice.chosen.status == "dug"


def type_depth(dock, text):
    dock.write_down._depth.setText(text)


def test_a_depth_is_kept_in_the_archives_unit_and_the_invert_is_offered(writing, archive):
    QgsProject.instance().addMapLayer(QgsRasterLayer(str(archive.with_name("ground.tif")), "ground"))
    type_depth(writing, "3' 4\"")
    assert writing.write_down._understood.text() == "= 3.33 ft (3' 4\")"
    (row,) = put(writing, "probe_hit", 1000, 700)
    assert row["depth"] == pytest.approx(10 / 3, abs=1e-4) and writing.write_down._depth.text() == ""
    # 40 in to the top, 15 in inside, 8 % of it the wall; ground 699.7
    assert "its invert 4.68 ft, with 15 in inside and 1.2 in of wall, assumed" in said(writing)
    assert "the invert is at 695.02 ft" in said(writing) and "\u00b1 0.46 ft" in said(writing)
    offer = writing.write_down._offer
    shots = writing.session.archive.layers["shots"]
    assert not shots.isModified(), "nothing is written before a click"
    offer._shot.click()
    (shot,) = shots.editBuffer().addedFeatures().values()
    assert shot["of"] == "pipe_top" and shot["drain_id"] and day(shot["taken_on"]) == TODAY
    assert shot["elevation"] == pytest.approx(696.37, abs=0.02) and shot["error"] == pytest.approx(0.464, abs=0.002)
    assert at(shot)[1] == pytest.approx(700, abs=2) and not offer._shot.isEnabled()
    assert not offer._set_end.isVisibleTo(writing), "the place is no end of the pipe"


def test_the_depth_at_a_pipes_end_is_written_on_a_click(writing):
    writing.write_down._iface.canvas.setExtent(extent(0, 500, 400, 700))
    type_depth(writing, "2.5")
    put(writing, "probe_hit", 128.8, 600)
    drains, offer = writing.session.archive.drains, writing.write_down._offer
    assert "the ground here is unknown" in said(writing) and not offer._shot.isVisibleTo(writing)
    offer._set_end.click()
    changed = drains.editBuffer().changedAttributeValues()
    ((number, values),) = changed.items()
    assert drains.getFeature(number)["name"] == "F1-11"
    ends = {drains.fields().at(index).name(): value for index, value in values.items()}
    line = drains.getFeature(number).geometry().asPolyline()
    here, there = ("depth_start", "depth_end") if line[0].x() < line[-1].x() else ("depth_end", "depth_start")
    assert ends[here] == pytest.approx(2.5 + 4 * 1.08 / 12, abs=1e-3) and there not in ends
    settled(writing)


def test_the_size_unknown_leaves_the_depth_to_the_invert_open(writing):
    drains = writing.session.archive.drains
    drains.startEditing()
    row = next(drains.getFeatures("name = 'F1-11'"))
    drains.changeAttributeValue(row.id(), drains.fields().indexOf("diameter"), None)
    settled(writing)
    type_depth(writing, "30 in")
    (reading,) = put(writing, "probe_hit", 700, 600)
    assert reading["depth"] == pytest.approx(2.5)
    assert "left open: the size of the pipe is unknown" in said(writing)
    assert not writing.write_down._offer._set_end.isVisibleTo(writing)


def test_a_depth_that_may_mean_two_things_puts_nothing(writing):
    type_depth(writing, "3 4")
    assert "may mean several things" in writing.write_down._understood.text()
    assert put(writing, "probe_hit", 1000, 700) == [] and "may mean several things" in said(writing)
    assert not writing.session.archive.layers["readings"].isModified()


def test_the_form_opens_when_asked(writing, desktop):
    panel = writing.write_down
    assert not panel._form.isEnabled()
    (row,) = put(writing, "roots", 1000, 905)
    panel._form.click()
    ((layer, opened),) = desktop.forms
    assert layer is writing.session.archive.layers["readings"] and opened["reading_id"] == row["reading_id"]


def test_what_was_put_last_stands_first_the_next_time(writing):
    put(writing, "burrow", 800, 575)
    put(writing, "roots", 1000, 905)
    writing.ask(writing.write_down, False)
    writing.ask(writing.write_down)
    grid = writing.write_down._choices._grid
    assert [grid.itemAtPosition(0, column).widget().text() for column in range(2)] == ["Roots", "Burrow"]
    assert writing.write_down._choices.current is None, "a click on the map puts nothing before one is chosen"


def test_a_read_only_layer_a_missing_layer_and_escape(writing, desktop):
    readings = writing.session.archive.layers["readings"]
    readings.setReadOnly(True)
    assert put(writing, "boil", 800, 575) == [] and "read-only" in said(writing)
    readings.setReadOnly(False)
    QgsProject.instance().removeMapLayer(readings.id())
    until(lambda: "readings" not in writing.session.archive.layers, "the layer gone")
    assert put(writing, "boil", 800, 575) == [] and "shows no layer 'readings'" in said(writing)
    tool = writing.write_down.map_tool
    tool.keyReleaseEvent(QKeyEvent(QEvent.Type.KeyRelease, Qt.Key.Key_Escape, Qt.KeyboardModifier.NoModifier))
    assert desktop.canvas.mapTool() is not tool and writing.write_down._choices.current is None


def test_a_map_in_another_crs(writing, desktop):
    crs = QgsCoordinateReferenceSystem("EPSG:3735")
    from qgis.core import QgsCoordinateTransform, QgsPointXY

    move = QgsCoordinateTransform(writing.session.archive.drains.crs(), crs, QgsProject.instance())
    desktop.canvas.setDestinationCrs(crs)
    middle = move.transform(QgsPointXY(*place(1000, 700)))
    desktop.canvas.setExtent(move.transformBoundingBox(extent(700, 500, 1300, 900)))
    writing.write_down._choices.buttons["dry_hole"].click()
    writing.write_down.put(middle)
    (row,) = writing.session.archive.layers["readings"].editBuffer().addedFeatures().values()
    assert at(row) == pytest.approx((1000, 700), abs=0.5)


def test_calls_and_readings_of_the_sample_by_clicks(opened, desktop, tmp_path, archive):
    """The record of the sample's plug, put anew into an archive that has its pipes alone."""
    from fallkeeper.plugin.qgis_layer.project import add_archive

    layers = add_archive(QgsProject.instance(), archive)
    wanted = {name: [(f["kind"] if name == "readings" else f["about"], at(f)) for f in layers[name].getFeatures()]
              for name in ("calls", "readings")}
    for name in ("calls", "readings"):
        layers[name].startEditing()
        layers[name].deleteFeatures(layers[name].allFeatureIds())
    desktop.canvas.setDestinationCrs(layers["drains"].crs())
    before = layers["readings"].undoStack().count()
    dock = opened()
    until(lambda: dock.session.loaded is not None)
    dock.ask(dock.write_down)
    for name, rows in wanted.items():
        for what, (x, y) in rows:
            desktop.canvas.setExtent(extent(x - 100, y - 80, x + 100, y + 80))
            put(dock, "call" if name == "calls" else what, x, y)
    for name, rows in wanted.items():
        made = list(layers[name].getFeatures())
        assert len(made) == len(rows) == len({f[layers[name].fields().at(1).name()] for f in made})
        for (what, where), row in zip(rows, sorted(made, key=lambda f: -f.id())):
            assert at(row) == pytest.approx(where, abs=1.0)
            assert name == "calls" or row["kind"] == what
    calls = [f["call_id"] for f in layers["calls"].getFeatures()]
    assert {f["call_id"] for f in layers["readings"].getFeatures()} <= set(calls)
    assert layers["readings"].undoStack().count() == before + len(wanted["readings"]), "one step each"
    for name in ("calls", "readings"):
        assert isinstance(layers[name], QgsVectorLayer) and layers[name].rollBack()
