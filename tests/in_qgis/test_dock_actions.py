"""Everything the dock offers can be pressed, read and done by keys; layers and settings can be chosen."""

import pytest
from docks import settled, until
from fallkeeper.plugin.gui import settings
from fallkeeper.plugin.gui.options_page import OptionsFactory
from fallkeeper.plugin.qgis_layer.project import add_archive
from fallkeeper.plugin.qgis_layer.sample import copy_sample
from qgis.core import QgsProject, QgsSettings
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest
from qgis.PyQt.QtWidgets import QAbstractButton, QComboBox, QSpinBox


@pytest.fixture(autouse=True)
def own_settings():
    yield
    QgsSettings().remove("fallkeeper")


def test_every_action_has_words_a_hint_an_icon_and_keys(dock):
    actions = dock.actions.all
    keys = [action.shortcut().toString() for action in actions]
    assert all(keys) and len(set(keys)) == len(keys)
    pictures = set()
    for action in actions:
        assert action.text() and action.toolTip() and action.statusTip() and action.objectName()
        image = action.icon().pixmap(32, 32).toImage()
        assert not image.isNull() and image.hasAlphaChannel()
        pictures.add(bytes(image.bits().asarray(image.sizeInBytes())))
    assert len(pictures) == len(actions), "each has an icon of its own"


def test_a_question_is_asked_by_keys(dock, desktop):
    desktop.window.activateWindow()
    QTest.keyClick(desktop.window, Qt.Key.Key_K, Qt.KeyboardModifier.AltModifier)
    QTest.keyClick(desktop.window, Qt.Key.Key_H)
    assert dock._questions[dock.trace].isChecked()
    assert desktop.canvas.mapTool() is dock.trace.tool


def test_every_button_of_the_dock_can_be_reached_by_tab_and_says_what_it_does(dock):
    for button in dock.findChildren(QAbstractButton):
        if button.parent() is not None and button.text():
            assert button.focusPolicy() & Qt.FocusPolicy.TabFocus, button.text()
            assert button.toolTip() or button.text(), button.text()


def test_layers_can_be_chosen_by_hand_and_the_project_remembers(dock, tmp_path, opened):
    dock._choose_layers.trigger()
    page = dock.layers_page
    assert dock._pages.currentWidget() is page
    assert page._boxes["drains"].currentLayer() is dock.session.archive.drains
    page._boxes["land"].setLayer(None)
    page.use()
    settled(dock)
    assert dock.session.archive.title.endswith("(layers chosen by hand)")
    assert dock.session.loaded.land is None and len(dock.session.loaded.given.drains) == 155
    assert dock._pages.currentWidget() is not page
    again = opened()
    assert again.session.archive.layers == dock.session.archive.layers
    again.session.cancel()


def test_two_archives_are_told_apart_and_one_is_asked(dock, tmp_path, opened):
    other = copy_sample(tmp_path / "other").with_name("ossel_flats.gpkg")
    layers = add_archive(QgsProject.instance(), other)
    first = dock.session.archive.place
    box = dock.header._archive
    assert box.count() == 2 and box.itemText(0) != box.itemText(1)
    index = next(k for k in range(2) if box.itemData(k).place == other)
    dock.header._choose(index)
    settled(dock)
    assert dock.session.archive.drains is layers["drains"] and dock.session.archive.place != first
    layers["drains"].startEditing()
    layers["drains"].deleteFeature(next(layers["drains"].getFeatures("drain_id = 'F1-01'")).id())
    settled(dock)
    assert "154 drains" in dock.header._state.text()
    again = opened()
    assert again.session.archive.place == other, "the project remembers which one"
    again.session.cancel()
    layers["drains"].rollBack()


def test_settings_are_shown_kept_and_put_back(qgis_app):
    factory = OptionsFactory()
    page = factory.createWidget(None)
    assert not factory.icon().isNull()
    pixels, follow, paper = (page._fields[s] for s in (settings.CLICK_PIXELS, settings.FOLLOW_EDITS, settings.PAPER))
    assert isinstance(pixels, QSpinBox) and isinstance(paper, QComboBox)
    pixels.setValue(30)
    follow.setChecked(False)
    paper.setCurrentIndex(paper.findData(settings.A4))
    assert settings.CLICK_PIXELS.value == 12, "nothing is kept before OK"
    page.apply()
    assert (settings.CLICK_PIXELS.value, settings.FOLLOW_EDITS.value, settings.PAPER.value) == (30, False, "a4")
    again = factory.createWidget(None)
    assert again._fields[settings.CLICK_PIXELS].value() == 30
    again.show_defaults()
    again.apply()
    assert all(setting.value == setting.default for setting in settings.EVERY)


def test_pipes_are_not_read_before_asked_where_that_is_set(opened, desktop, archive):
    settings.READ_AT_ONCE.keep(False)
    settings.FOLLOW_EDITS.keep(False)
    layers = add_archive(QgsProject.instance(), archive)
    dock = opened()
    assert dock.session.archive is not None and not dock.session.is_loading
    dock._again.trigger()
    settled(dock)
    before = dock.session.loaded
    layers["drains"].startEditing()
    layers["drains"].deleteFeature(next(layers["drains"].getFeatures()).id())
    until(lambda: "press Read again" in dock.header._state.text(), "the hint")
    assert dock.session.loaded is before and not dock.session.is_loading
    dock._again.trigger()
    settled(dock)
    assert dock.session.loaded is not before
    layers["drains"].rollBack()
