"""What the dock says and keeps where it is used as it should not be: a sentence, no traceback, no lost edit."""

import sqlite3
import stat

import pytest
from docks import click, place, settled, until
from fallkeeper.plugin.qgis_layer.project import add_archive
from qgis.core import QgsApplication, QgsGeometry, QgsPointXY, QgsProject, QgsVectorLayer, QgsVectorLayerUtils


@pytest.fixture(autouse=True)
def no_traceback(capfd, monkeypatch):
    """What is raised in a slot is a fault of the program, though Qt goes on."""
    import sys

    raised = []
    monkeypatch.setattr(sys, "excepthook", lambda kind, fault, trace: raised.append(fault))
    yield
    assert raised == []


def state(dock):
    return dock.header._state.text()


def test_without_an_archive_nothing_can_be_asked(opened):
    dock = opened()
    for action in dock._questions.values():
        assert not action.isEnabled()
    dock.trace.ask(QgsPointXY(0, 0))
    assert "not read yet" in dock.trace._text.toPlainText()
    dock.trace.ask_named()
    dock.session.load()
    dock.session.load_anew()
    dock.session.check(None)
    assert not dock.session.is_loading


@pytest.mark.parametrize("name", ["drains", "land", "structures"])
def test_a_layer_that_goes_while_it_is_read_and_asked(dock, name):
    dock.ask(dock.trace)
    click(dock, 1000, 905)
    dock.session.load_anew()
    QgsProject.instance().removeMapLayer(dock.session.archive.layers[name].id())
    until(lambda: not dock.session.is_loading, "the reading")
    QgsApplication.processEvents()
    assert (dock.session.archive is None) == (name == "drains")
    dock.trace.ask(QgsPointXY(*place(1000, 905)))
    if name == "land":
        until(lambda: dock.trace.words, "the answer")
        assert "Land above" not in dock.trace.words and "46.00 acres" in dock.trace.words


def test_a_ground_that_goes_is_left_out(dock, archive):
    from qgis.core import QgsRasterLayer

    ground = QgsProject.instance().addMapLayer(QgsRasterLayer(str(archive.with_name("ground.tif")), "Ground"))
    dock.session.check(ground.id())
    settled(dock)
    assert dock.session.loaded.county.ground is not None
    QgsProject.instance().removeMapLayer(ground.id())
    dock.session.load()
    settled(dock)
    assert dock.session.loaded.county.ground is None and dock.session.findings is not None


def test_read_only_file_is_read_and_asked(opened, desktop, archive):
    archive.chmod(stat.S_IRUSR)
    layers = add_archive(QgsProject.instance(), archive)
    dock = opened()
    until(lambda: dock.session.loaded is not None, "the network")
    assert "155 drains" in state(dock)
    assert not layers["drains"].startEditing() or layers["drains"].rollBack()


def test_a_file_that_another_program_locks_is_said_to_be_so(opened, desktop, archive):
    add_archive(QgsProject.instance(), archive)
    other = sqlite3.connect(archive, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    dock = opened()
    assert "locked by another program" in state(dock) and not dock.session.is_loading
    other.execute("ROLLBACK")
    other.close()
    dock._again.trigger()
    settled(dock)
    assert "155 drains" in state(dock)


def test_an_empty_layer_is_said_to_be_empty(opened, desktop):
    layer = QgsVectorLayer("LineString?crs=EPSG:3734&field=drain_id:string", "drains", "memory")
    QgsProject.instance().addMapLayer(layer)
    dock = opened()
    dock._choose_layers.trigger()
    dock.layers_page._boxes["drains"].setLayer(layer)
    dock.layers_page.use()
    until(lambda: dock.session.problem, "the sentence")
    assert "holds no lines yet" in state(dock)
    layer.startEditing()
    line = QgsGeometry.fromPolylineXY([QgsPointXY(*place(0, 0)), QgsPointXY(*place(500, 0))])
    layer.addFeature(QgsVectorLayerUtils.createFeature(layer, line))
    dock._again.trigger()
    settled(dock)
    assert "1 drain," in state(dock) and "not saved" in state(dock)
    layer.rollBack()


def test_edits_are_never_saved_or_taken_back_by_asking(dock):
    drains = dock.session.archive.drains
    drains.startEditing()
    feature = next(drains.getFeatures("drain_id = 'F3-01'"))
    drains.changeAttributeValue(feature.id(), drains.fields().indexOf("note"), "mine")
    dock.ask(dock.trace)
    click(dock, 1000, 905)
    dock.findings.check()
    settled(dock)
    dock._again.trigger()
    settled(dock)
    assert drains.isEditable() and drains.getFeature(feature.id())["note"] == "mine"
    assert list(drains.editBuffer().changedAttributeValues()) == [feature.id()]
    drains.rollBack()


def test_closing_the_project_while_it_is_read(dock):
    dock.session.load_anew()
    QgsProject.instance().clear()
    until(lambda: QgsApplication.taskManager().countActiveTasks() == 0, "the task")
    QgsApplication.processEvents()
    assert dock.session.archive is None and not dock.session.is_loading
    assert dock._pages.currentWidget() is dock.start_page
