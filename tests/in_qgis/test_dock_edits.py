"""What the dock answers from follows every edit: only what was edited is built anew, with the result of a whole run."""

import dataclasses
import time

import pytest
import shapely
from docks import click, extent, place, settled, until
from equality import assert_same_county, assert_same_results
from fallkeeper.plugin.checks.whole import check_whole
from fallkeeper.plugin.network import update
from qgis.core import QgsFeature, QgsGeometry, QgsPointXY, QgsVectorLayerUtils


@pytest.fixture
def drains(dock):
    """The layer of drains in edit mode; what was not saved is taken back."""
    layer = dock.session.archive.drains
    layer.startEditing()
    yield layer
    layer.rollBack()


@pytest.fixture
def built(monkeypatch):
    """Numbers of drains of everything that was built after an edit."""
    counts, build = [], update.build_network

    def counted(drains, *rest, **more):
        counts.append(len(drains))
        return build(drains, *rest, **more)

    monkeypatch.setattr(update, "build_network", counted)
    return counts


def number_of(layer, drain_id):
    return next(layer.getFeatures(f"\"drain_id\" = '{drain_id}'")).id()


def move(layer, drain_id, east_ft, north_ft):
    number = number_of(layer, drain_id)
    shape = QgsGeometry(layer.getFeature(number).geometry())
    shape.translate(east_ft, north_ft)
    assert layer.changeGeometry(number, shape)


def add(layer, drain_id, *places, role="lateral"):
    feature = QgsVectorLayerUtils.createFeature(layer, QgsGeometry.fromPolylineXY([QgsPointXY(*p) for p in places]))
    feature["drain_id"], feature["role"], feature["diameter"] = drain_id, role, 4.0
    assert layer.addFeature(feature)
    return feature


def as_told(table):
    """Rows of a table in no order."""
    columns = {column.name: getattr(table, column.name) for column in dataclasses.fields(table)}
    if "geometry" in columns:
        columns["geometry"] = shapely.to_wkt(columns["geometry"], rounding_precision=6)
    return sorted(map(repr, zip(*(column.tolist() for column in columns.values()))))


def assert_as_if_read_anew(dock):
    """The county, and its findings where there are any, are those of a whole run on what the layers say now."""
    loaded = dock.session.loaded
    whole = check_whole(loaded.given)
    assert_same_county(loaded.county, whole.case.county)
    if loaded.checked is not None:
        assert_same_results(loaded.checked, whole)
    dock.session.load_anew()
    settled(dock)
    anew = dock.session.loaded
    assert anew is not loaded
    for name in ("drains", "structures", "land"):
        assert as_told(getattr(loaded.given, name)) == as_told(getattr(anew.given, name))


def test_edits_are_followed_by_little_work(dock, drains, built):
    before = dock.session.loaded
    move(drains, "F7-12", 3.0, 2.0)
    drains.changeAttributeValue(number_of(drains, "F7-13"), drains.fields().indexOf("diameter"), 6.0)
    drains.deleteFeature(number_of(drains, "F8-15"))
    add(drains, "new", place(3500, 1610), place(3990, 1640))
    settled(dock)
    now = dock.session.loaded
    assert now is not before and len(built) == 1 and built[0] < 30, "one system was built, not the county"
    assert now.land is before.land and now.land_map is before.land_map
    assert_as_if_read_anew(dock)


def test_findings_follow_edits(dock, drains, built):
    dock.findings.check()
    settled(dock)
    assert dock.findings.view is dock.session.findings is not None
    before = len(dock.findings.view.findings)
    add(drains, "astray", place(2400, 600), place(2500, 600))
    settled(dock)
    assert built and built[-1] < 30
    titles = dock.findings.view.findings
    assert dock.findings.view is dock.session.findings and len(titles) > before
    assert any(titles.of("no-outlet").drain == len(dock.session.loaded.given.drains) - 1)
    assert_as_if_read_anew(dock)


def test_an_edit_taken_back_is_as_if_it_had_not_been(dock, drains):
    first = as_told(dock.session.loaded.given.drains)
    add(drains, "new", place(3500, 1610), place(3990, 1640))
    move(drains, "F7-12", 3.0, 2.0)
    settled(dock)
    assert as_told(dock.session.loaded.given.drains) != first
    drains.undoStack().undo()
    settled(dock)
    drains.rollBack()
    settled(dock)
    assert as_told(dock.session.loaded.given.drains) == first and not dock.session.loaded.unsaved.any()


def test_saved_edits_are_read_from_the_file(dock, drains):
    add(drains, "new", place(3500, 1610), place(3990, 1640))
    settled(dock)
    assert "1 pipe with edits that are not saved" in dock.header._state.text()
    assert drains.commitChanges(), drains.commitErrors()
    settled(dock)
    assert "not saved" not in dock.header._state.text()
    assert "new" in dock.session.loaded.given.drains.drain_id
    assert_as_if_read_anew(dock)


def test_a_layer_that_was_edited_before_the_dock_came_is_read_as_drawn(opened, dock, drains):
    add(drains, "new", place(3500, 1610), place(3990, 1640))
    other = opened()
    until(lambda: other.session.loaded is not None, "the second dock")
    assert "new" in other.session.loaded.given.drains.drain_id
    assert "1 pipe with edits that are not saved" in other.header._state.text()


def test_an_edit_while_reading_is_not_lost(dock, drains):
    add(drains, "first", place(3500, 1610), place(3990, 1640))
    until(lambda: dock.session.is_loading, "the reading to begin")
    add(drains, "second", place(3500, 1630), place(3990, 1660))
    settled(dock)
    assert {"first", "second"} <= set(dock.session.loaded.given.drains.drain_id)
    assert_as_if_read_anew(dock)


def test_what_was_canceled_is_still_to_do(dock, drains):
    before = dock.session.loaded
    add(drains, "new", place(3500, 1610), place(3990, 1640))
    until(lambda: dock.session.is_loading, "the reading to begin")
    began = time.monotonic()
    dock.header._cancel.click()
    assert time.monotonic() - began < 1.0 and not dock.session.is_loading and dock.header._cancel.isHidden()
    assert dock.session.loaded is before and dock.session.is_behind
    assert "Edits since then are not in it yet" in dock.header._state.text()
    dock.header._again.click()
    settled(dock)
    assert "new" in dock.session.loaded.given.drains.drain_id


def test_structures_and_land_are_followed_too(dock, drains):
    structures, land = (dock.session.archive.layers[name] for name in ("structures", "land"))
    structures.startEditing()
    outlet = next(structures.getFeatures("\"kind\" = 'outlet'"))
    assert structures.deleteFeature(outlet.id())
    land.startEditing()
    land.changeAttributeValue(next(land.getFeatures()).id(), land.fields().indexOf("owner"), "Somebody Else")
    settled(dock)
    assert "Somebody Else" in dock.session.loaded.given.land.owner
    assert outlet["structure_id"] not in dock.session.loaded.given.structures.structure_id
    assert_as_if_read_anew(dock)
    structures.rollBack()
    land.rollBack()


def test_a_row_without_a_key_can_be_edited(dock, drains):
    feature = QgsFeature(drains.fields())
    feature.setGeometry(QgsGeometry.fromPolylineXY([QgsPointXY(*place(3500, 1610)), QgsPointXY(*place(3990, 1640))]))
    assert drains.addFeature(feature)
    settled(dock)
    assert dock.session.loaded.given.drains.id_missing.sum() == 1
    assert drains.deleteFeature(feature.id())
    settled(dock)
    assert not dock.session.loaded.given.drains.id_missing.any()


def test_the_answer_on_the_map_follows(dock, drains):
    dock.ask(dock.trace)
    dock.trace._canvas.setExtent(extent(2900, -200, 5200, 2400))
    assert "54.00 acres" in click(dock, 4000, 4)
    drains.deleteFeature(number_of(drains, "F5-02"))
    until(lambda: "53.00 acres" in dock.trace.words, "the answer to follow")
