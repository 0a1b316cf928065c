"""What hangs on a pipe: asked in every way there is, and what becomes of the answer."""

import pdf_reading
import pytest
from docks import click, extent, place, press, settled, until
from fallkeeper.plugin.gui import settings
from qgis.core import QgsApplication, QgsCoordinateReferenceSystem, QgsPointXY, QgsProject, QgsSettings
from qgis.gui import QgsMapToolPan
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest


@pytest.fixture
def trace(dock):
    dock.ask(dock.trace)
    yield dock.trace
    QgsSettings().remove("fallkeeper")


def bar(desktop):
    item = desktop.messageBar().currentItem()
    return "" if item is None else item.text()


def drawn(trace):
    return [band.asGeometry() for band in (trace._highlight._above, trace._highlight._below)]


def test_highlight_is_the_pipe_above_and_the_way_below(trace, dock):
    click(dock, 1000, 905)
    above, below = drawn(trace)
    assert above.length() == pytest.approx(41_420.2, abs=3) and below.length() == pytest.approx(905.0, abs=3)
    assert len(trace._highlight._arrows._segments), "arrows of flow"
    settings.ARROWS.keep(False)
    settings.LINE_WIDTH.keep(9)
    click(dock, 1000, 905)
    assert not len(trace._highlight._arrows._segments) and trace._highlight._above.width() == 9


def test_s51_s59_by_clicks(trace, dock, desktop):
    assert "46.00 acres" in click(dock, 1000, 905)
    assert "80.00 acres" in click(dock, 1000, 3)
    desktop.canvas.setExtent(extent(2900, -200, 5200, 2400))
    words = click(dock, 4000, 430)
    assert "40.00 acres" in words, "before the bridge is accepted"
    assert "54.00 acres" in click(dock, 4000, 3)


def test_inside_a_pipe_what_lies_above_of_it_counts(trace, dock):
    words = click(dock, 600, 100)
    assert words.startswith("F1-01") and "0 laterals, 47" in words and "0.54 acres" in words


def test_a_wet_spot_takes_the_nearest_pipe_and_says_how_far(trace, dock, desktop):
    desktop.canvas.setExtent(extent(500, 60, 620, 170))
    words = click(dock, 560, 120)
    assert "F1-01" in words.splitlines()[0] and "nearest pipe, 20.0 ft away" in words
    assert trace.say_under(QgsPointXY(*place(560, 120))) == "", "the pointer is on no pipe"


def test_a_pipe_asked_by_its_name_without_the_mouse(trace, dock, desktop):
    trace._name.setFocus()
    QTest.keyClicks(trace._name, "main b")
    QTest.keyClick(trace._name, Qt.Key.Key_Return)
    until(lambda: trace.words, "the answer")
    assert trace.words.startswith("Main B") and "54.00 acres" in trace.words
    assert desktop.canvas.extent().contains(QgsPointXY(*place(4000, 500))), "the map shows the answer"
    trace._name.setText("no such pipe")
    QTest.keyClick(trace._name, Qt.Key.Key_Return)
    assert "No pipe in the network is called no such pipe" in bar(desktop)


def test_escape_takes_the_answer_then_the_tool(trace, dock, desktop):
    pan = QgsMapToolPan(desktop.canvas)
    dock.ask(trace, False)
    desktop.canvas.setMapTool(pan)
    dock.ask(trace)
    click(dock, 1000, 905)
    QTest.keyClick(desktop.canvas, Qt.Key.Key_Escape)
    assert trace.words == "" and desktop.canvas.mapTool() is trace.tool
    QTest.keyClick(desktop.canvas, Qt.Key.Key_Escape)
    assert desktop.canvas.mapTool() is pan and not dock._questions[trace].isChecked()
    desktop.canvas.unsetMapTool(pan)


def test_from_a_finding(trace, dock):
    dock.findings.check()
    settled(dock)
    dock.ask(dock.findings)
    model, tree = dock.findings._model, dock.findings._tree
    groups = [model.check_at(model.index(k, 0)) for k in range(model.rowCount())]
    tree.setCurrentIndex(model.index(0, 0, model.index(groups.index("smaller-downstream"), 0)))
    dock.findings._trace.click()
    until(lambda: trace.words, "the answer")
    assert trace.words.startswith("Main B") and dock._questions[trace].isChecked()


def test_click_on_nothing_says_so_and_leaves_nothing(trace, dock, desktop):
    click(dock, 1000, 905)
    press(dock, 1950, -150)
    assert "no pipe within reach" in bar(desktop) and trace.words == ""
    assert all(shape.isEmpty() for shape in drawn(trace))


def test_the_map_may_be_in_another_crs(trace, dock, desktop):
    desktop.canvas.setDestinationCrs(QgsCoordinateReferenceSystem("EPSG:4326"))
    at = trace._places.to_drains(QgsPointXY(*place(1000, 905)), backward=True)
    assert abs(at.x()) < 180
    desktop.canvas.setExtent(trace._canvas.mapSettings().layerExtentToOutputExtent(
        dock.session.archive.drains, extent(0, 0, 2000, 2000)))
    trace.ask(at)
    until(lambda: trace.words, "the answer")
    assert "46.00 acres" in trace.words
    assert trace._places.pixels_m(1) == pytest.approx(2000 * 0.3048 / desktop.canvas.height(), rel=0.5)


def test_answer_is_copied(trace, dock):
    words = click(dock, 1000, 905)
    trace._copy.click()
    assert QgsApplication.clipboard().text() == words
    trace._clear.click()
    assert trace.words == "" and not trace._copy.isEnabled()


def test_answer_is_kept_as_layers(trace, dock, provider, desktop):
    title = click(dock, 1000, 905).splitlines()[0]
    before = set(QgsProject.instance().mapLayers())
    trace._keep.click()
    until(lambda: not trace._kept.is_running, "the layers")
    found = QgsProject.instance().mapLayers()
    layers = {found[number].name(): found[number] for number in found if number not in before}
    titles = [f"{name}: {title}" for name in ("Land above", "Land crossed", "Pipes above", "Pipes below")]
    assert sorted(layers) == titles
    above, crossed, pipes, below = (layers[title] for title in titles)
    assert sum(feature["area"] for feature in above.getFeatures()) == pytest.approx(46.0)
    assert sum(feature["length"] for feature in pipes.getFeatures()) == pytest.approx(41_420.2, abs=3)
    assert sum(feature["length"] for feature in below.getFeatures()) == pytest.approx(905.0, abs=3)
    assert crossed.featureCount() == 3, "F1, F2 and no field"
    assert pipes.renderer().type() == "RuleRenderer" and "Kept as layers" in bar(desktop)


def test_answer_is_printed_with_the_map_and_cautions(trace, dock, tmp_path, desktop):
    click(dock, 1000, 905)
    path = tmp_path / "answer ü.pdf"
    trace.print_to(path)
    words = "".join(pdf_reading.page_text(path.read_bytes()).split())
    for said in ("MainA(A-1),9+0", "EbbingKilnFarm", "Locateburiedutilities", "nobodyelse'sdata"):
        assert said in words
    assert str(path) in bar(desktop)
    trace.print_to(tmp_path / "no such folder" / "answer.pdf")
    assert "cannot be written" in bar(desktop)


def test_unsaved_pipes_are_traced_as_drawn_and_said_to_be_unsaved(trace, dock):
    drains = dock.session.archive.drains
    drains.startEditing()
    feature = next(drains.getFeatures("drain_id = 'F3-01'"))
    drains.changeAttributeValue(feature.id(), drains.fields().indexOf("diameter"), 5.0)
    settled(dock)
    assert "not saved yet: F3-01" in click(dock, 1000, 905)
    middle = feature.geometry().interpolate(300).asPoint()
    assert trace.say_under(middle).endswith("(not saved)")
    drains.rollBack()
