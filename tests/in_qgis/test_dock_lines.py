"""Turning and cutting pipes from the findings of the dock: shown first, one edit, undone, never saved."""

import shutil
from pathlib import Path

import pytest
from docks import checked, extent, settled, until
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.qgis_layer.archive import create_archive
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.sample_project import rows
from qgis.core import QgsCoordinateReferenceSystem, QgsProject
from shapely import LineString, Point, to_wkb

X, Y = rows.ORIGIN_FT


@pytest.fixture(scope="module")
def small_archive(qgis_app, tmp_path_factory):
    """A main of 900 ft drawn upward, and two laterals of 200 ft drawn from it outward."""
    path = tmp_path_factory.mktemp("small") / "county.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem(rows.CRS), "us")

    def line(*places):
        return to_wkb(LineString([(X + east, Y + north) for east, north in places]))

    with archive_batch(path, "test", "a small system") as batch:
        batch.insert("drains", {"drain_id": "M", "role": "main", "invert_start": 95.0, "invert_end": 95.9},
                     line((0, 0), (0, 900)))
        for number, north in enumerate((300, 600)):
            batch.insert("drains", {"drain_id": f"L{number}", "role": "lateral", "spacing": 50.0, "invert_start": 99.8,
                                    "invert_end": 100.0}, line((0, north), (200, north)))
        batch.insert("structures", {"structure_id": "O", "kind": "outlet"}, to_wkb(Point(X, Y)))
        batch.insert("shots", {"shot_id": "S", "drain_id": "L1", "elevation": 99.95, "of": "invert"},
                     to_wkb(Point(X + 150, Y + 600)))
    return path


@pytest.fixture
def dock(opened, desktop, tmp_path, small_archive):
    add_archive(QgsProject.instance(), Path(shutil.copy(small_archive, tmp_path)))
    made = opened()
    desktop.canvas.setDestinationCrs(QgsCoordinateReferenceSystem(rows.CRS))
    desktop.canvas.setExtent(extent(-200, -100, 600, 1000))
    yield checked(made)
    for layer in made.session.archive.layers.values():
        if layer.isEditable():
            layer.rollBack()


@pytest.fixture
def fix(dock):
    return dock.findings._drains


@pytest.fixture
def drains(dock):
    return dock.session.archive.drains


def groups(dock):
    model = dock.findings._model
    return {model.check_at(model.index(row, 0)): model.index(row, 0) for row in range(model.rowCount())}


def choose(dock, check, drain=None):
    model, view = dock.findings._model, dock.findings.view
    index = groups(dock)[check]
    for row in range(model.rowCount(index)) if drain else ():
        one = model.index(row, 0, index)
        if view.case.network.drains.drain_id[view.findings.drain[model.row_at(one)]] == drain:
            dock.findings._tree.setCurrentIndex(one)
            return
    assert drain is None
    dock.findings._tree.setCurrentIndex(index)


def row(layer, key):
    return next(layer.getFeatures(f"\"drain_id\" = '{key}'"))


def inverts(feature):
    return feature["invert_start"], feature["invert_end"]


def start_of(feature):
    at = feature.geometry().vertexAt(0)
    return at.x() - X, at.y() - Y


def test_all_drawn_against_the_flow_are_turned_at_once(dock, fix, drains):
    choose(dock, "against-drawing")
    assert fix.isVisibleTo(dock.findings) and not fix._turn.isVisibleTo(dock.findings)
    fix._open.setChecked(True)
    assert fix._turn.text() == "T&urn all 3" and not fix._cut.isVisibleTo(dock.findings)
    assert len(fix._now._segments) == len(fix._after._segments) == 3 and not drains.isEditable()
    fix._turn.click()
    assert drains.undoStack().count() == 1 and drains.isModified()
    assert "3 rows written, not saved yet" in fix._words.text() and len(fix._now._segments) == 0
    assert inverts(row(drains, "L0")) == (100.0, 99.8) and start_of(row(drains, "L0")) == pytest.approx((200, 300))
    settled(dock)
    until(lambda: "against-drawing" not in groups(dock), "findings without those")
    drains.undoStack().undo()
    assert inverts(row(drains, "L0")) == (99.8, 100.0) and start_of(row(drains, "L0")) == pytest.approx((0, 300))
    settled(dock)
    until(lambda: "against-drawing" in groups(dock), "the findings again")


def test_one_is_turned_with_its_figures_said_first(dock, fix, drains):
    fix._open.setChecked(True)
    choose(dock, "against-drawing", "L0")
    assert "Invert at start: 99.80 ft \u2192 100.00 ft; Invert at end: 100.00 ft \u2192 99.80 ft" in fix._words.text()
    fix._turn.click()
    assert inverts(row(drains, "L0")) == (100.0, 99.8) and inverts(row(drains, "L1")) == (99.8, 100.0)


def test_cut_where_the_ring_is(dock, fix, drains):
    fix._open.setChecked(True)
    choose(dock, "against-drawing", "L0")
    fix._at.setValue(50.0)
    assert "invert 99.85" in fix._cut_words.text() and "becomes L0.2" in fix._cut_words.text()
    ring = fix._ring.asGeometry().asMultiPoint()[0] if fix._ring.asGeometry().isMultipart() else (
        fix._ring.asGeometry().asPoint())
    assert (ring.x() - X, ring.y() - Y) == pytest.approx((50, 300), abs=0.01)
    fix._cut.click()
    first, second = row(drains, "L0"), row(drains, "L0.2")
    assert inverts(first) == (99.8, pytest.approx(99.85)) and inverts(second) == (pytest.approx(99.85), 100.0)
    assert (first.geometry().length(), second.geometry().length()) == pytest.approx((50, 150))
    assert second["role"] == "lateral" and second["spacing"] == 50.0 and "assumed" in second["note"]
    assert drains.undoStack().count() == 1
    settled(dock)
    assert dock.session.loaded.county.network.drains_without_outlet.size == 0
    drains.undoStack().undo()
    assert [f["drain_id"] for f in drains.getFeatures()] == ["M", "L0", "L1"]


def test_shots_count_and_go_along(dock, fix, drains):
    fix._open.setChecked(True)
    choose(dock, "against-drawing", "L1")
    fix._at.setValue(75.0)
    fix._cut.click()
    assert inverts(row(drains, "L1"))[1] == pytest.approx(99.875)
    shots = dock.session.archive.layers["shots"]
    assert next(shots.getFeatures())["drain_id"] == "L1.2" and shots.undoStack().count() == 1
    assert "1 moved along" in fix._words.text()


def test_no_cut_at_an_end_and_nothing_on_read_only_layers(dock, fix, drains):
    fix._open.setChecked(True)
    choose(dock, "against-drawing", "L0")
    fix._at.setValue(0.0)
    assert "lies at an end" in fix._cut_words.text() and not fix._cut.isEnabled()
    drains.setReadOnly(True)
    fix._turn.click()
    assert "is read-only" in fix._words.text() and not drains.isEditable()
    drains.setReadOnly(False)


def test_what_is_gone_meanwhile_is_said(dock, fix, drains):
    fix._open.setChecked(True)
    choose(dock, "against-drawing", "L0")
    drains.startEditing()
    drains.deleteFeature(row(drains, "L0").id())
    fix._turn.click()
    assert "gone" in fix._words.text()


def test_groups_of_other_checks_are_not_turned(dock, fix):
    other = next(check for check in groups(dock) if check != "against-drawing")
    choose(dock, other)
    assert not fix.isVisibleTo(dock.findings)


def test_the_notice_is_silent_about_these_edits(dock, desktop, fix, drains):
    fix._open.setChecked(True)
    choose(dock, "against-drawing", "L0")
    fix._cut.click()
    settled(dock)
    assert desktop.said() == ""
