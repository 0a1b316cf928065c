"""Help opens the manual in QGIS, from the files that came with the plugin."""

import re

import pytest
from fallkeeper.plugin.gui.manual import DOCS, Manual
from qgis.PyQt.QtCore import QUrl
from qgis.PyQt.QtGui import QTextDocument
from qgis.PyQt.QtWidgets import QWidget


@pytest.fixture
def manual(qgis_app):
    parent = QWidget()
    made = Manual(parent)
    made.show()
    yield made
    parent.deleteLater()


def test_it_opens_with_its_pictures(manual):
    assert manual.text.source() == QUrl.fromLocalFile(str(DOCS / "manual.md"))
    assert manual.text.toPlainText().startswith("Fallkeeper: the manual")
    for name in ("trace", "desktop"):
        image = manual.text.loadResource(QTextDocument.ResourceType.ImageResource, QUrl(f"pictures/{name}.png"))
        assert 0 < image.width() < manual.text.viewport().width()


def test_a_line_of_the_contents_leads_to_its_heading(manual):
    manual._follow(QUrl("#what-is-wrong-here"))
    assert manual.text.verticalScrollBar().value() > 500


def test_other_pages_open_in_the_same_window_and_lead_back(manual):
    manual._follow(QUrl("sharing.md"))
    assert "Working together on one archive" in manual.text.toPlainText()
    manual.text.backward()
    assert "Fallkeeper: the manual" in manual.text.toPlainText()


def test_help_opens_one_window(dock, desktop):
    dock.help_action.trigger()
    dock.help_action.trigger()
    opened = desktop.window.findChildren(Manual)
    assert len(opened) == 1 and opened[0].isVisible()
    opened[0].close()


def test_every_key_stands_in_the_manual(dock):
    text = (DOCS / "manual.md").read_text(encoding="utf-8")
    told = set(re.findall(r"^\| (Alt\+K, \w) \|", text, re.MULTILINE))
    assert told == {action.shortcut().toString() for action in dock.actions.all}
