"""The long section below the map, with what it can be saved as. Shown only while a question needs it."""

from __future__ import annotations

from pathlib import Path

from qgis.core import Qgis
from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import QCoreApplication, Qt
from qgis.PyQt.QtWidgets import QFileDialog, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from .profile_view import ProfileView

_HIGH = 430  # pixels; lower, and the names over the section leave little room for it
_KINDS = "PNG (*.png);;SVG (*.svg);;CSV (*.csv)"


def tr(text):
    return QCoreApplication.translate("ProfileDock", text)


class ProfileDock(QgsDockWidget):
    """`view` shows the section; QGIS remembers the dock by its object name."""

    def __init__(self, iface):
        super().__init__(tr("Fallkeeper: long section"), iface.mainWindow())
        self.setObjectName("FallkeeperProfileDock")
        self._iface = iface
        self.view = ProfileView()
        self._words = QLabel()
        self._words.setWordWrap(True)
        self._save = QPushButton(tr("&Save ..."))
        self._save.setToolTip(tr("Save this section as a picture (PNG, SVG) or its figures as a table (CSV)."))
        self._save.clicked.connect(self._ask_where)
        body = QWidget()
        row = QHBoxLayout()
        row.addWidget(self._words, 1)
        row.addWidget(self._save)
        column = QVBoxLayout(body)
        column.addLayout(row)
        column.addWidget(self.view, 1)
        self.setWidget(body)
        self.show_profile(None)
        self.hide()

    def show_profile(self, profile, words=""):
        """A long section with a sentence above it; None clears it."""
        self.view.show_profile(profile)
        self._words.setText(words)
        self._save.setEnabled(profile is not None)
        if profile is not None and not self.isVisible():
            self.show()
            self._iface.mainWindow().resizeDocks([self], [_HIGH], Qt.Orientation.Vertical)

    def save(self, path):
        """Save under a name; a sentence in the message bar says how it went."""
        try:
            self.view.save(path)
        except OSError as fault:
            self._iface.messageBar().pushMessage("Fallkeeper", str(fault), Qgis.MessageLevel.Critical)
        else:
            self._iface.messageBar().pushMessage("Fallkeeper", f"{tr('Saved')}: {path}", Qgis.MessageLevel.Success)

    def _ask_where(self):
        title = "".join(one if one.isalnum() or one in " -_" else "-" for one in self.view.profile.title)
        path, kind = QFileDialog.getSaveFileName(self, tr("Save the long section"), f"{title}.png", _KINDS)
        if path:
            ending = kind.partition("(*")[2].rstrip(")") or ".png"
            self.save(path if Path(path).suffix else path + ending)
