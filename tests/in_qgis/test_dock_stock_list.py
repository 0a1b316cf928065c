"""The sizes pipe is sold in, offered where a diameter is typed in a form; any other figure is taken too."""

from types import SimpleNamespace

import pytest
from docks import until
from fallkeeper.plugin.gui.stock_list import StockList
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.units import Units
from qgis.core import NULL
from qgis.gui import QgsAttributeForm, QgsEditorWidgetWrapper, QgsGui
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QLineEdit, QMainWindow


@pytest.fixture(autouse=True)
def editors(qgis_app):
    """The desktop makes them when it starts."""
    if "TextEdit" not in QgsGui.editorWidgetRegistry().factories():
        QgsGui.editorWidgetRegistry().initEditors()


@pytest.fixture
def drains(archive):
    """Outside of a project, whose relations want a whole desktop around a form."""
    layer = open_layer(archive, "drains")
    assert layer.startEditing()
    yield layer
    layer.rollBack()


@pytest.fixture
def stock(drains):
    county = SimpleNamespace(units=Units("us"))
    made = StockList(SimpleNamespace(archive=SimpleNamespace(drains=drains), loaded=SimpleNamespace(county=county)))
    yield made
    made.release()


@pytest.fixture
def form(drains):
    """Of one lateral, in edit mode, in a window of its own."""
    window = QMainWindow()
    made = QgsAttributeForm(drains, next(drains.getFeatures("name = 'F1-11'")))
    window.setCentralWidget(made)
    window.show()
    window.activateWindow()
    yield made
    window.close()
    window.deleteLater()


def field_of(form, name):
    for edit in form.findChildren(QLineEdit):
        wrapper = QgsEditorWidgetWrapper.fromWidget(edit)
        if isinstance(wrapper, QgsEditorWidgetWrapper) and wrapper.field().name() == name:
            return edit
    raise AssertionError(f"no field {name}")


def figures(completer):
    model = completer.model()
    return [model.index(row, 0).data(Qt.ItemDataRole.UserRole) for row in range(model.rowCount())]


def opened(stock):
    until(lambda: stock._completer is not None and stock._completer.popup().isVisible(), "the list")
    return stock._completer


@pytest.mark.parametrize("typed", ["", "1", "2"])
def test_enter_takes_no_size_that_nobody_went_to(stock, form, typed):
    field = field_of(form, "diameter")
    field.setFocus()
    popup = opened(stock).popup()
    field.selectAll()
    QTest.keyClicks(popup, typed)
    QTest.keyClick(popup if popup.isVisible() else field, Qt.Key.Key_Return)
    assert field.text() == (typed or "4")


def test_the_list_opens_when_the_field_is_entered_and_fills_it(stock, drains, form):
    field = field_of(form, "diameter")
    field.setFocus()
    completer = opened(stock)
    assert figures(completer) == ["3", "4", "5", "6", "8", "10", "12", "15", "18", "24"], "corrugated plastic"
    assert completer.popup().model().index(1, 0).data() == "4 in"
    for _ in range(6):
        QTest.keyClick(completer.popup(), Qt.Key.Key_Down)
    QTest.keyClick(completer.popup(), Qt.Key.Key_Return)
    assert field.text() == "10" and not completer.popup().isVisible()
    assert form.save()
    changed = drains.editBuffer().changedAttributeValues()
    assert 10.0 in next(iter(changed.values())).values()


def test_a_measured_size_that_nobody_sells_is_taken(stock, drains, form):
    field = field_of(form, "diameter")
    assert stock.offer(field) is not None
    field.setText("6.25")
    assert form.save()
    assert next(drains.getFeatures("name = 'F1-11'"))["diameter"] == 6.25


def test_the_list_follows_the_material_and_an_unknown_one_has_all(stock, drains):
    for material, least, most in (("clay", "4", "30"), (NULL, "3", "36")):
        row = next(drains.getFeatures("name = 'F1-11'"))
        row["material"] = material
        form = QgsAttributeForm(drains, row)
        found = figures(stock.offer(field_of(form, "diameter")))
        assert (found[0], found[-1]) == (least, most)
        form.deleteLater()


def test_no_other_field_and_no_form_that_is_read_only_gets_it(stock, drains):
    form = QgsAttributeForm(drains, next(drains.getFeatures()))
    assert stock.offer(field_of(form, "spacing")) is None and stock.offer(QLineEdit()) is None
    drains.rollBack()
    reading = QgsAttributeForm(drains, next(drains.getFeatures()))
    assert stock.offer(field_of(reading, "diameter")) is None
    for one in (form, reading):
        one.deleteLater()
