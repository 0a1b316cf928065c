"""The manual in a window of its own, read from the files that came with the plugin; needs no network."""

from __future__ import annotations

import re
from pathlib import Path

from qgis.PyQt.QtCore import QCoreApplication, Qt, QUrl
from qgis.PyQt.QtGui import QDesktopServices, QImage, QTextDocument
from qgis.PyQt.QtWidgets import QDialog, QHBoxLayout, QPushButton, QTextBrowser, QVBoxLayout

DOCS = Path(__file__).resolve().parents[2] / "docs"

_MARGIN, _LEAST = 40, 200  # pixels beside a picture, and of the narrowest one


def tr(text):
    return QCoreApplication.translate("Manual", text)


def _named(heading):
    """The name of a heading in links to it: 'What is wrong here?' is 'what-is-wrong-here'."""
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


class _Page(QTextBrowser):
    """Shows no picture wider than the page."""

    def loadResource(self, kind, name):  # as QTextBrowser has it
        if kind != QTextDocument.ResourceType.ImageResource:
            return super().loadResource(kind, name)
        picture = QImage(self.source().resolved(name).toLocalFile())
        room = max(self.viewport().width() - _MARGIN, _LEAST)
        return picture if picture.width() <= room else picture.scaledToWidth(
            room, Qt.TransformationMode.SmoothTransformation)


class Manual(QDialog):
    def __init__(self, parent):
        super().__init__(parent)
        self.setObjectName("FallkeeperManual")
        self.setWindowTitle(tr("Fallkeeper: manual"))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.text = _Page()
        self.text.setOpenLinks(False)
        self.text.anchorClicked.connect(self._follow)
        first, back = QPushButton(tr("&First page")), QPushButton(tr("&Back"))
        first.clicked.connect(self._begin)
        back.clicked.connect(self.text.backward)
        back.setEnabled(False)
        self.text.backwardAvailable.connect(back.setEnabled)
        row = QHBoxLayout()
        for button in (first, back):
            button.setAutoDefault(False)
            row.addWidget(button)
        row.addStretch()
        column = QVBoxLayout(self)
        column.addLayout(row)
        column.addWidget(self.text)
        size = self.fontMetrics().height()
        self.resize(56 * size, 48 * size)

    def showEvent(self, event):
        """The first page, once it is known how wide it is."""
        super().showEvent(event)
        if self.text.source().isEmpty():
            self._begin()

    def _begin(self):
        self.text.setSource(QUrl.fromLocalFile(str(DOCS / "manual.md")))

    def _follow(self, link):
        """Pages that came with the plugin are shown here, addresses elsewhere in the browser."""
        if link.scheme() in ("http", "https", "mailto"):
            QDesktopServices.openUrl(link)
        else:
            self.text.setSource(self.text.source().resolved(link))
            self._show_heading(link.fragment())

    def _show_heading(self, fragment):
        """Qt gives headings of Markdown no names: find the one that would have this name."""
        block = self.text.document().begin()
        while fragment and block.isValid():
            if block.blockFormat().headingLevel() and _named(block.text()) == fragment:
                top = self.text.document().documentLayout().blockBoundingRect(block).top()
                self.text.verticalScrollBar().setValue(int(top))
                return
            block = block.next()
