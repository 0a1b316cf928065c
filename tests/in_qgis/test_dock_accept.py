"""Accepting findings in the dock: with a reason, in one edit, undone or saved, and back when the facts change."""

import sqlite3
from contextlib import closing

import pytest
from docks import checked, place, settled, until
from fallkeeper.plugin.answers.findings import ACCEPTED
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.qgis_layer.archive import create_archive
from fallkeeper.plugin.qgis_layer.archive_edit import user_name
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.sample_project import rows
from qgis.core import QgsCoordinateReferenceSystem, QgsProject
from qgis.PyQt.QtCore import QDate, Qt
from qgis.PyQt.QtTest import QTest
from shapely import LineString, Point, to_wkb

CHECK = "flat-grade"


@pytest.fixture
def path(tmp_path):
    """Two mains that fall 0.1 ft in 400 ft; three laterals cross A and three end on B."""
    made = tmp_path / "county.gpkg"
    create_archive(made, QgsCoordinateReferenceSystem(rows.CRS), "us")

    def line(*places):
        return to_wkb(LineString([place(*one) for one in places]))

    with archive_batch(made, "test", "two small systems") as batch:
        for key, east in (("A", 0), ("B", 2000)):
            batch.insert("drains", {
                "drain_id": key, "name": f"Main {key}", "role": "main", "diameter": 6.0, "invert_start": 100.1,
                "invert_end": 100.0, "invert_error": 0.01, "located_by": "level"}, line((east, 400), (east, 0)))
            batch.insert("structures", {"structure_id": f"O{key}", "name": f"Outlet O{key}", "kind": "outlet"},
                         to_wkb(Point(place(east, 0))))
            for number in range(3):
                north = 100 * (number + 1)
                batch.insert("drains", {"drain_id": f"{key}{number}", "role": "lateral", "spacing": 50.0},
                             line((east if key == "B" else -50, north), (east + 300, north)))
    return made


@pytest.fixture
def dock(opened, desktop, path):
    add_archive(QgsProject.instance(), path)
    desktop.canvas.setDestinationCrs(QgsCoordinateReferenceSystem(rows.CRS))
    return checked(opened())


def model(dock):
    return dock.findings._model


def groups(dock):
    return {model(dock).check_at(index): index for index in
            (model(dock).index(row, 0) for row in range(model(dock).rowCount()))}


def count(dock, key):
    return len(model(dock).rows_at(groups(dock)[key])[1]) if key in groups(dock) else 0


def choose(dock, key, row=None):
    index = groups(dock)[key]
    dock.findings._tree.setCurrentIndex(index if row is None else model(dock).index(row, 0, index))


def table(dock):
    return dock.session.archive.layers["accepted"]


def saved(dock):
    with closing(sqlite3.connect(dock.session.archive.place)) as file:
        return file.execute("SELECT count(*) FROM accepted").fetchone()[0]


def fix(dock):
    return dock.findings._accept


def seen(dock, widget):
    return widget.isVisibleTo(dock.findings)


def accept(dock, key, row=None, reason="settled clay, runs all year"):
    choose(dock, key, row)
    fix(dock)._begin.click()
    fix(dock)._reason.setText(reason)
    fix(dock)._accept.click()


def now(dock, key, number):
    until(lambda: count(dock, key) == number, f"{number} of {key}")


def test_one_is_accepted_with_a_reason_and_undone(dock):
    assert count(dock, CHECK) == 2 and ACCEPTED not in groups(dock)
    choose(dock, CHECK, 0)
    assert seen(dock, fix(dock)._begin) and not seen(dock, fix(dock)._reason) and not seen(dock, fix(dock)._back)
    fix(dock)._begin.click()
    assert seen(dock, fix(dock)._reason) and not seen(dock, fix(dock)._begin) and not fix(dock)._accept.isEnabled()
    fix(dock)._reason.setText("   ")
    assert not fix(dock)._accept.isEnabled()
    fix(dock).accept()
    assert not table(dock).isEditable(), "no reason, no acceptance"
    fix(dock)._reason.setText("settled clay, runs all year")
    QTest.keyClick(fix(dock)._reason, Qt.Key.Key_Return)
    (row,) = table(dock).getFeatures()
    assert (row["check"], row["drain_id"], row["reason"]) == (CHECK, "A", "settled clay, runs all year")
    assert (row["station_from"], row["station_to"], row["value"]) == pytest.approx((0.0, 400.0, 0.025))
    assert row["accepted_by"] == user_name() and row["accepted_on"].date() == QDate.currentDate()
    assert table(dock).undoStack().count() == 1
    assert saved(dock) == 0
    assert "1 finding accepted, not saved yet: save the layer" in fix(dock)._words.text() and seen(dock, fix(dock))
    now(dock, ACCEPTED, 1)
    assert count(dock, CHECK) == 1 and list(groups(dock))[-1] == ACCEPTED
    assert not dock.findings._tree.isExpanded(groups(dock)[ACCEPTED])
    choose(dock, ACCEPTED, 0)
    assert "settled clay, runs all year" in dock.findings._why.toPlainText()
    assert user_name() in dock.findings._why.toPlainText()
    table(dock).undoStack().undo()
    now(dock, CHECK, 2)
    assert ACCEPTED not in groups(dock)
    table(dock).rollBack()


def test_a_group_is_accepted_as_it_is_shown_saved_and_there_when_opened_again(dock, opened):
    assert count(dock, "unknown-size") == 6
    system = dock.findings._filters.system
    system.setCurrentIndex(system.findText("Main B", Qt.MatchFlag.MatchContains))
    now(dock, "unknown-size", 3)
    accept(dock, "unknown-size")
    assert table(dock).featureCount() == 3 and table(dock).undoStack().count() == 1
    assert "3 findings accepted" in fix(dock)._words.text()
    now(dock, ACCEPTED, 3)
    system.setCurrentIndex(0)
    now(dock, "unknown-size", 3)
    assert table(dock).commitChanges()
    now(dock, ACCEPTED, 3)
    assert saved(dock) == 3
    dock.session.load_anew()
    settled(dock)
    now(dock, ACCEPTED, 3)
    choose(dock, ACCEPTED)
    fix(dock)._back.click()
    assert "3 findings taken back, not saved yet" in fix(dock)._words.text()
    now(dock, "unknown-size", 6)
    assert table(dock).undoStack().count() == 1
    table(dock).undoStack().undo()
    now(dock, ACCEPTED, 3)
    table(dock).rollBack()


def test_it_comes_back_after_an_edit_of_the_invert(dock):
    accept(dock, CHECK, 0)
    now(dock, ACCEPTED, 1)
    assert table(dock).commitChanges()
    drains = dock.session.archive.drains
    (main,) = drains.getFeatures("\"drain_id\" = 'A'")
    drains.startEditing()
    field = drains.fields().lookupField("invert_end")
    drains.changeAttributeValue(main.id(), field, 100.005)
    settled(dock)
    until(lambda: dock.findings.view is dock.session.findings and not dock.session.is_loading)
    assert count(dock, ACCEPTED) == 1, "a twentieth less is within what was accepted"
    drains.changeAttributeValue(main.id(), field, 100.05)
    settled(dock)
    now(dock, CHECK, 2)
    assert ACCEPTED not in groups(dock)
    back = next(row for row in range(2) if "Back: " in str(
        model(dock).data(model(dock).index(row, 0, groups(dock)[CHECK]))))
    choose(dock, CHECK, back)
    words = dock.findings._why.toPlainText()
    assert "but it is now 0.013 % where 0.025 % was accepted" in words and user_name() in words
    assert seen(dock, fix(dock)._begin), "it may be accepted again as it is now"
    drains.rollBack()
    settled(dock)
    now(dock, ACCEPTED, 1)


def test_what_somebody_else_accepted_is_shown_with_name_and_day(dock):
    layer = table(dock)
    with archive_batch(dock.session.archive.place, "test", "an earlier day") as batch:
        batch.insert("accepted", {"check": CHECK, "drain_id": "B", "value": 0.025, "reason": "a spring keeps it clean",
                                  "accepted_by": "A. Ames", "accepted_on": "2025-05-06T08:00:00.000Z"})
    layer.dataProvider().reloadData()
    layer.dataChanged.emit()
    now(dock, ACCEPTED, 1)
    choose(dock, ACCEPTED, 0)
    assert "Accepted on 2025-05-06 by A. Ames: 'a spring keeps it clean'." in dock.findings._why.toPlainText()


def test_nothing_is_done_where_it_cannot_be(dock):
    table(dock).setReadOnly(True)
    accept(dock, CHECK, 0)
    assert "is read-only" in fix(dock)._words.text() and not table(dock).isEditable()
    table(dock).setReadOnly(False)
    QgsProject.instance().removeMapLayer(table(dock).id())
    until(lambda: "accepted" not in dock.session.archive.layers)
    checked(dock)
    accept(dock, CHECK, 0)
    assert "add the layer 'accepted'" in fix(dock)._words.text() and count(dock, CHECK) == 2


def test_leaving_accepts_nothing(dock):
    choose(dock, CHECK, 0)
    fix(dock)._begin.click()
    fix(dock)._reason.setText("not sure")
    fix(dock)._leave.click()
    assert seen(dock, fix(dock)._begin) and not table(dock).isEditable()


def test_filters_by_check_and_system_are_searched_by_typing(dock):
    filters = dock.findings._filters
    assert filters.system.itemText(0) == "every system"
    names = [filters.system.itemText(k) for k in range(1, filters.system.count())]
    assert {name.rsplit(" (", 1)[0] for name in names} >= {"Main A to Outlet OA", "Main B to Outlet OB"}
    filters.check.lineEdit().setText("keeps the pipe")
    filters.check.lineEdit().editingFinished.emit()
    assert list(groups(dock)) == [CHECK] and count(dock, CHECK) == 2
    filters.system.lineEdit().setText("outlet ob")
    filters.system.lineEdit().editingFinished.emit()
    assert count(dock, CHECK) == 1
    filters.system.lineEdit().setText("nowhere")
    filters.system.lineEdit().editingFinished.emit()
    assert filters.system.currentText().startswith("Main B to Outlet OB"), "what is no system changes nothing"
    name, shown = filters.system.currentText().rsplit(" (", 1)
    accept(dock, CHECK, 0)
    now(dock, ACCEPTED, 1)
    assert filters.system.currentText() == f"{name} ({int(shown[:-1]) - 1})", "kept, with one finding less"
    assert filters.check.currentText().endswith("(1)")
    for box in (filters.system, filters.check):
        box.lineEdit().clear()
        box.lineEdit().editingFinished.emit()
        assert box.currentIndex() == 0
    table(dock).rollBack()


def test_the_table_counts_though_the_project_does_not_show_it(dock):
    accept(dock, CHECK, 0)
    assert table(dock).commitChanges()
    QgsProject.instance().removeMapLayer(table(dock).id())
    until(lambda: "accepted" not in dock.session.archive.layers)
    checked(dock)
    assert count(dock, ACCEPTED) == 1
    drains = dock.session.archive.drains
    (main,) = drains.getFeatures("\"drain_id\" = 'B'")
    drains.startEditing()
    drains.changeAttributeValue(main.id(), drains.fields().lookupField("invert_end"), 100.05)
    settled(dock)
    until(lambda: dock.findings.view is dock.session.findings and not dock.session.is_loading)
    assert count(dock, ACCEPTED) == 1
    drains.rollBack()
