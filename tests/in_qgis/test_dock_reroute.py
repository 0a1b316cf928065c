"""Drawing a new pipe in the dock: the known answers of the sample, alternatives, the proposal as an edit."""

import csv

import pytest
from docks import extent, place, until
from fallkeeper.plugin.answers.reroute import FIGURES
from qgis.core import NULL, QgsPointXY, QgsProject, QgsRasterLayer
from qgis.PyQt.QtCore import QEvent, Qt
from qgis.PyQt.QtGui import QImage, QKeyEvent
from qgis.PyQt.QtTest import QTest

R1 = ((1000, 1075), (900, 1075), (900, 725), (1000, 725))
R2 = ((1000, 1075), (900, 600))


@pytest.fixture
def drawing(dock, archive):
    """Asked for a reroute, with the ground of the sample, the map zoomed to the trees at main A."""
    QgsProject.instance().addMapLayer(QgsRasterLayer(str(archive.with_name("ground.tif")), "ground"))
    dock.reroute._iface.canvas.setExtent(extent(700, 500, 1300, 1200))
    dock.ask(dock.reroute)
    return dock


def press(dock, x_ft, y_ft, button=Qt.MouseButton.LeftButton):
    canvas = dock.reroute.tool.canvas()
    at = canvas.getCoordinateTransform().transform(QgsPointXY(*place(x_ft, y_ft))).toQPointF().toPoint()
    QTest.mouseClick(canvas.viewport(), button, Qt.KeyboardModifier.NoModifier, at)


def draw(dock, points):
    for point in points:
        press(dock, *point)
    press(dock, *points[-1], button=Qt.MouseButton.RightButton)
    judged(dock, len(points))


def judged(dock, points):
    panel = dock.reroute
    until(lambda: panel.current is not None and len(panel.current.asked.xy_m) == points
          and not panel._judge.is_judging and not panel._settle.isActive(), "the verdict")
    return panel.current


def column(dock, number):
    table = dock.reroute._table
    return {name: table.item(row, number).text() for row, name in enumerate(("Verdict", *FIGURES))}


def type_in(dock, **words):
    for name, text in words.items():
        field = dock.reroute._form._figures[name]
        field.setText(text)
        field.textEdited.emit(text)


def test_s56_drawn_by_clicks_falls(drawing):
    type_in(drawing, invert_error="0.03")
    draw(drawing, R1)
    row = column(drawing, 0)
    assert (row["Verdict"], row["Fall"]) == ("falls", "0.350 ft")
    assert float(row["Length"].split()[0]) == pytest.approx(550, abs=3), "clicks are whole pixels"
    assert float(row["Grade"].split()[0]) == pytest.approx(0.0636, abs=0.0005)
    assert row["Left behind"].startswith("14 drains, 7.8")
    said = drawing.reroute._text.toPlainText()
    assert "falls all the way" in said and "Locate buried utilities" in said
    assert drawing.profile.view.profile.units.is_us and drawing.profile.isVisibleTo(drawing.profile.parent())


def test_s57_drawn_by_clicks_rises(drawing):
    type_in(drawing, invert_error="0.03")
    draw(drawing, R2)
    row = column(drawing, 0)
    assert row["Verdict"] == "reverse" and row["Fall"].startswith("\u22120.12")
    assert row["Chance it runs backwards"].startswith("99.")


def test_the_verdict_follows_every_point_and_a_typed_invert(drawing):
    press(drawing, 1000, 1075)
    press(drawing, 900, 1075)
    assert judged(drawing, 2).reroute.verdict.call == "unknown", "the end lies in the open"
    type_in(drawing, invert_down="696.5")
    until(lambda: column(drawing, 0)["Fall"].endswith("ft"), "the typed invert")
    assert float(column(drawing, 0)["Fall"].split()[0]) == pytest.approx(0.175, abs=0.005)
    assert column(drawing, 0)["Verdict"] == "cannot tell", "nobody said how sure the typed invert is"
    type_in(drawing, invert_down="abc")
    until(lambda: "is no number: 'abc'" in drawing.reroute._text.toPlainText(), "the sentence")


def test_a_typed_grade_leads_the_upper_end_to_where_it_comes_out(drawing):
    draw(drawing, R1)
    type_in(drawing, grade="0.2")
    until(lambda: column(drawing, 0)["Grade"] == "0.2000 %", "the typed grade")
    row, length = column(drawing, 0), float(column(drawing, 0)["Length"].split()[0])
    assert row["Verdict"] == "falls"
    climb = 0.002 * length - 0.35  # the pipes' own inverts are 0.35 ft apart
    assert row["Where it ties in"] == f"upper end too high by {climb:.3f} ft"
    assert "water would stand in the old pipe above it" in drawing.reroute._text.toPlainText()
    assert "But where it ties in water would have to climb: upper end too high" in drawing.profile._words.text()
    type_in(drawing, invert_up="696.7", invert_down="696.3")
    until(lambda: "leave one of the three empty" in drawing.reroute._text.toPlainText(), "the sentence")


def test_a_lower_invert_typed_below_the_pipe_it_ties_in_to_is_told(drawing):
    draw(drawing, R1)
    assert column(drawing, 0)["Where it ties in"] == "no climb"
    type_in(drawing, invert_down="696.0", invert_error="0.02")
    until(lambda: column(drawing, 0)["Where it ties in"].startswith("lower end too low by 0.3"), "the step")
    assert "water would stand in the new pipe" in drawing.reroute._text.toPlainText()


def test_sizes_are_offered_that_pipe_of_the_material_is_sold_in(drawing):
    form = drawing.reroute._form

    def offered():
        return [form._diameter.itemText(row) for row in range(form._diameter.count())]

    assert {"4", "6", "12", "36"} <= set(offered()), "of all materials while none is chosen"
    form._diameter.setEditText("11.5")
    form._words["material"].setCurrentIndex(form._words["material"].findData("smooth_plastic"))
    assert offered() == ["3", "4", "6", "8", "10", "12", "15"]
    assert form._diameter.currentText() == "11.5", "what was typed stays"


def test_points_snap_to_pipes(drawing):
    press(drawing, 1004, 1075)
    press(drawing, 904, 603)
    points = drawing.reroute.tool.points
    assert points[0].x() == pytest.approx(place(1000, 0)[0], abs=1e-6), "on main A"
    assert points[1].y() == pytest.approx(place(0, 600)[1], abs=1e-6), "on F1-11"


def test_backspace_and_escape(drawing):
    press(drawing, 1000, 1075)
    press(drawing, 900, 1075)
    key(drawing, Qt.Key.Key_Backspace)
    assert len(drawing.reroute.tool.points) == 1
    key(drawing, Qt.Key.Key_Escape)
    assert drawing.reroute.tool.points == [] and drawing.reroute.current is None
    assert drawing.reroute._table.columnCount() == 0


def key(dock, which):
    dock.reroute.tool.keyPressEvent(QKeyEvent(QEvent.Type.KeyPress, which, Qt.KeyboardModifier.NoModifier))


def test_alternatives_stand_side_by_side(drawing):
    draw(drawing, R1)
    drawing.reroute._keep.click()
    draw(drawing, R2)
    assert column(drawing, 0)["Verdict"] == "falls" and column(drawing, 1)["Verdict"] != "falls"
    drawing.reroute._keep.click()
    table = drawing.reroute._table
    assert [table.horizontalHeaderItem(k).text() for k in range(2)] == ["R1", "R2"]
    table.selectColumn(0)
    assert "R1" in drawing.profile._words.text()
    drawing.reroute._drop.click()
    assert [one.name for one in drawing.reroute.kept] == ["R2"]


def test_no_more_than_five(drawing):
    draw(drawing, R1)
    alternative = drawing.reroute.current
    drawing.reroute.kept = [alternative.__class__(**{**vars(alternative), "asked": alternative.asked.__class__(
        **{**vars(alternative.asked), "name": f"X{k}"})}) for k in range(5)]
    drawing.reroute.keep_beside()
    assert len(drawing.reroute.kept) == 5 and "take one away first" in drawing.reroute._text.toPlainText()


def test_a_proposal_is_one_edit_that_can_be_undone(drawing):
    drains = drawing.session.archive.drains
    count = drains.featureCount()
    draw(drawing, R1)
    drawing.reroute._propose.click()
    assert drains.isEditable() and drains.undoStack().count() == 1
    new = next(f for f in drains.getFeatures() if f["status"] == "proposed")
    assert (new["name"], new["role"], new["evidence"]) == ("R1", "main", "assumed")
    assert new["invert_start"] == pytest.approx(696.675, abs=0.005)
    assert new["invert_end"] == pytest.approx(696.325, abs=0.005)
    assert new["drain_id"] not in (None, NULL, "") and new["diameter"] == NULL
    assert "not saved yet" in drawing.reroute._iface.said()
    drains.undoStack().undo()
    assert drains.featureCount() == count
    drains.rollBack()


def test_a_read_only_archive_gets_no_proposal(drawing):
    draw(drawing, R1)
    drains = drawing.session.archive.drains
    drains.setReadOnly(True)
    drawing.reroute._propose.click()
    assert "is read-only" in drawing.reroute._iface.said()
    assert not drains.isEditable()


def test_without_ground_it_is_said(dock):
    dock.ask(dock.reroute)
    dock.reroute._iface.canvas.setExtent(extent(700, 500, 1300, 1200))
    draw(dock, R1)
    assert column(dock, 0)["Deepest cut"] == "unknown"
    assert "No ground is known here" in dock.reroute._text.toPlainText()


def test_the_map_follows_the_profile(drawing):
    draw(drawing, R1)
    view = drawing.profile.view
    view.resize(900, 420)
    view.show_profile(view.profile)
    view.hovered.emit(100 * drawing.session.loaded.county.units.length_m)
    marker = drawing.reroute._marker
    assert marker.isVisible()
    assert marker.center().x() == pytest.approx(place(900, 0)[0], abs=2)
    assert marker.center().y() == pytest.approx(place(0, 725)[1], abs=2)
    view.hovered.emit(None)
    assert not marker.isVisible()
    assert "ground 699.8" in view.said_at(100 * 0.3048006) and "1+00" in view.said_at(100 * 0.3048006)


def test_the_section_is_saved_as_picture_and_table(drawing, tmp_path):
    draw(drawing, R1)
    for ending in ("png", "svg", "csv"):
        drawing.profile.save(str(tmp_path / f"section.{ending}"))
    picture = QImage(str(tmp_path / "section.png"))
    assert (picture.width(), picture.height()) == (2400, 1240)
    assert "Vertical exaggeration" in (tmp_path / "section.svg").read_text(encoding="utf-8")
    rows = list(csv.reader((tmp_path / "section.csv").read_text(encoding="utf-8").splitlines()))
    assert rows[0][:3] == ["station (ft)", "ground (ft)", "invert (ft)"]
    assert float(rows[1][2]) == pytest.approx(696.325, abs=0.005) and rows[1][5] == "falls"
    drawing.profile.save(str(tmp_path / "no such folder" / "section.png"))
    assert "could not be written" in drawing.reroute._iface.said()


def test_the_question_is_over_when_its_archive_goes(drawing):
    draw(drawing, R1)
    QgsProject.instance().clear()
    assert drawing.reroute.current is None and drawing.reroute.kept == []
    drawing.reroute.propose()
