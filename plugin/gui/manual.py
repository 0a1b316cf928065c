"""The manual in a window of its own, read from the files that came with the plugin; needs no network."""

from __future__ import annotations

from pathlib import Path

from qgis.PyQt.QtCore import QCoreApplication, Qt, QUrl
from qgis.PyQt.QtGui import QDesktopServices
from qgis.PyQt.QtWidgets import QDialog, QHBoxLayout, QPushButton, QTextBrowser, QVBoxLayout

DOCS = Path(__file__).resolve().parents[2] / "docs"


def tr(text):
    return QCoreApplication.translate("Manual", text)


class Manual(QDialog):
    def __init__(self, parent):
        super().__init__(parent)
        self.setObjectName("FallkeeperManual")
        self.setWindowTitle(tr("Fallkeeper: manual"))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.text = QTextBrowser()
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
        self._begin()

    def _begin(self):
        self.text.setSource(QUrl.fromLocalFile(str(DOCS / "manual.md")))

    def _follow(self, link):
        """Pages that came with the plugin are shown here, addresses elsewhere in the browser."""
        if link.scheme() in ("http", "https", "mailto"):
            QDesktopServices.openUrl(link)
        else:
            self.text.setSource(self.text.source().resolved(link))
