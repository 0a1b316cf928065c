"""The dock on the sample: it finds the archive, reads it in the background, and answers clicks."""

import sqlite3
from contextlib import closing

from docks import click, extent, place, until
from fallkeeper.plugin.qgis_layer.project import add_archive
from qgis.core import QgsGeometry, QgsPointXY, QgsProject, QgsVectorLayer


def test_says_which_archive_and_how_it_stands(dock):
    assert dock.session.archive.title == "ossel_flats"
    said = dock.header._state.text()
    assert "155 drains, 134,900 ft, in 4 systems; 17 drains reach no outlet" in said
    assert "ft, in, acres, gal/min" in said


def test_a_click_on_main_a_is_answered(dock):
    dock.ask(dock.trace)
    words = click(dock, 1000, 905)
    assert words.startswith("Main A (A-1), 9+0")
    assert "46 laterals" in words and "46.00 acres" in words and "Ebbing Kiln Farm" in words


def test_s59_a_joint_drawn_by_the_user_changes_the_answer_before_it_is_saved(dock):
    dock.ask(dock.trace)
    dock.trace._canvas.setExtent(extent(2900, -200, 5200, 2400))
    assert "54.00 acres" in click(dock, 4000, 4)
    drains, before = dock.session.archive.drains, dock.session.loaded
    mains = {f["drain_id"]: f for f in drains.getFeatures("\"drain_id\" in ('B-2', 'B-3')")}
    foot, top = (mains[key].geometry().asPolyline() for key in ("B-2", "B-3"))
    ends = min(((a, b) for a in (foot[0], foot[-1]) for b in (top[0], top[-1])), key=lambda ab: ab[0].distance(ab[1]))
    drains.startEditing()
    bridge = type(mains["B-2"])(drains.fields())
    bridge.setGeometry(QgsGeometry.fromPolylineXY(list(ends)))
    bridge["drain_id"], bridge["role"] = "bridge", "main"
    assert drains.addFeature(bridge)
    until(lambda: dock.session.loaded is not None and dock.session.loaded is not before, "the network after the edit")
    until(lambda: "70.00 acres" in dock.trace.words, "the answer on the map to follow the edit")
    assert "70.00 acres" in click(dock, 4000, 4)
    drains.rollBack()


def test_beside_every_pipe_nothing_is_claimed(dock):
    dock.ask(dock.trace)
    dock.trace.ask(QgsPointXY(*place(1500, -150)))
    assert "no pipe within reach" in dock.trace._text.toPlainText()
    assert dock.trace.words == ""


def test_hover_names_the_pipe(dock):
    assert dock.trace.say_under(QgsPointXY(*place(1000, 905))).startswith("Main A (A-1): main, 15 in")
    assert dock.trace.say_under(QgsPointXY(*place(1500, -150))) == ""


def test_another_map_tool_ends_the_question_and_clear_takes_the_answer_away(dock, desktop):
    dock.ask(dock.trace)
    click(dock, 1000, 905)
    desktop.canvas.unsetMapTool(dock.trace.tool)
    assert not dock._questions[dock.trace].isChecked()
    dock.trace._clear.click()
    assert dock.trace.words == "" and not dock.trace._copy.isEnabled()


def test_archive_that_leaves_the_project_leaves_the_dock(dock):
    QgsProject.instance().clear()
    assert dock.session.archive is None and dock.session.loaded is None
    assert dock._pages.currentWidget() is dock.start_page


def test_first_page_offers_the_sample_and_an_archive(opened):
    made = opened()
    assert made._pages.currentWidget() is made.start_page
    assert not made._questions[made.trace].isEnabled()


def test_what_is_missing_is_said_and_nothing_is_asked(opened, archive):
    add_archive(QgsProject.instance(), archive)
    made = opened("Fallkeeper needs Python packages that this QGIS does not have: networkx.")
    assert "networkx" in made._pages.currentWidget().text()
    assert not made._questions[made.trace].isEnabled()


def test_degrees_are_refused_in_a_sentence(opened, tmp_path):
    import geopandas
    import shapely
    from qgis.core import QgsVectorLayer

    path = tmp_path / "degrees.gpkg"
    row = {"drain_id": ["a"], "geometry": [shapely.LineString([(10, 50), (10.1, 50)])]}
    geopandas.GeoDataFrame(row, crs="EPSG:4326").to_file(path, layer="drains")
    QgsProject.instance().addMapLayer(QgsVectorLayer(f"{path}|layername=drains", "drains", "ogr"))
    made = opened()
    until(lambda: "degrees" in made.header._state.text(), "the refusal")


def test_findings_are_listed_explained_and_shown(dock, desktop):
    panel = dock.findings
    dock.ask(panel)
    panel._go.click()
    until(lambda: panel.view is not None, "the checks")
    model = panel._model
    groups = [model.data(model.index(k, 0)) for k in range(model.rowCount())]
    assert "Pipe is smaller than one that runs into it (1, serious)" in groups
    assert panel._count.text().startswith(panel.view.said())
    parent = model.index(groups.index("Pipe is smaller than one that runs into it (1, serious)"), 0)
    assert model.rowCount(parent) == 1 and model.parent(model.index(0, 2, parent)) == parent
    panel._tree.setCurrentIndex(model.index(0, 0, parent))
    assert "Value 10.0 in, limit 12.0 in." in panel._why.toPlainText()
    panel._show.click()
    assert desktop.canvas.extent().contains(QgsPointXY(*place(4000, 500)))
    panel._filters.severity.setCurrentIndex(1)
    assert all("serious" in model.data(model.index(k, 0)) for k in range(model.rowCount()))
    panel._filters.severity.setCurrentIndex(0)
    desktop.canvas.setExtent(extent(-500, -500, -400, -400))
    panel._filters.in_view.setChecked(True)
    assert model.rowCount() == 0


def test_what_somebody_else_changed_is_shown_before_it_is_overwritten(dock, archive, monkeypatch):
    asked = []

    def answer(conflicts):
        asked.append([conflict.sentence for conflict in conflicts])
        return False

    drains = dock.session.archive.drains
    guard = next(guard for guard in dock._guards._guards if guard.layer is drains)
    monkeypatch.setattr(guard, "decide", answer)
    number = next(drains.getFeatures("drain_id = 'F1-01'")).id()
    drains.startEditing()
    assert drains.changeAttributeValue(number, drains.fields().indexOf("diameter"), 5.0)
    other = QgsVectorLayer(drains.source(), "other", "ogr")
    column = other.fields().indexOf("diameter")
    assert other.dataProvider().changeAttributeValues({number: {column: 6.0}})
    assert not drains.commitChanges()
    assert len(asked) == 1 and "F1-01" in asked[0][0]
    assert next(other.getFeatures(f"fid = {number}"))["diameter"] == 6.0, "nothing was overwritten"
    assert drains.isEditable()
    drains.rollBack()


def test_what_watches_changes_is_put_back_when_the_archive_is_opened(opened, archive):
    with closing(sqlite3.connect(archive)) as connection, connection:
        connection.execute("DROP TRIGGER drains_history_update")
    add_archive(QgsProject.instance(), archive)
    made = opened()
    until(lambda: not made.session.look.is_looking and made.session.loaded is not None, "the look at the archive")
    said = made.header._state.text()
    assert "The triggers of 'Drains (tile)' (drains) were missing" in said and said.endswith("Put right.")
    with closing(sqlite3.connect(archive)) as connection:
        (entry,) = connection.execute("SELECT layer, action, who FROM history ORDER BY seq DESC LIMIT 1").fetchall()
        assert entry[:2] == ("drains", "gap") and entry[2]
        assert connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'drains_history_update'").fetchone()


def test_a_file_that_is_no_archive_is_not_looked_over(opened, tmp_path):
    import geopandas
    import shapely

    path = tmp_path / "lines.gpkg"
    row = {"drain_id": ["a"], "geometry": [shapely.LineString([(0, 0), (100, 0)])]}
    geopandas.GeoDataFrame(row, crs="EPSG:32617").to_file(path, layer="drains")
    QgsProject.instance().addMapLayer(QgsVectorLayer(f"{path}|layername=drains", "drains", "ogr"))
    made = opened()
    until(lambda: not made.session.look.is_looking and made.session.loaded is not None, "the look at the file")
    assert made.session.look.sentences == []
