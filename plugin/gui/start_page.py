"""What the dock shows while the project holds no drains: try the sample, or begin an archive of one's own."""

from __future__ import annotations

from pathlib import Path

from qgis.core import Qgis
from qgis.PyQt.QtCore import QCoreApplication
from qgis.PyQt.QtWidgets import QFileDialog, QLabel, QPushButton, QVBoxLayout, QWidget


def tr(text):
    return QCoreApplication.translate("StartPage", text)


class StartPage(QWidget):
    def __init__(self, iface, open_algorithm, parent=None):
        """`open_algorithm(name)` opens the dialog of an algorithm."""
        super().__init__(parent)
        self._iface = iface
        words = QLabel(tr(
            "This project holds no drains yet. Look at the invented county Ossel Flats first, or make an archive for "
            "your own pipes. For a layer of lines that you already have, press Layers above."
        ))
        words.setWordWrap(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(words)
        for label, tip, action in (
            (tr("Open a copy of the sample ..."), tr("Copies the sample into a folder of yours and opens it."),
             self._open_sample),
            (tr("Make an archive ..."), tr("A new GeoPackage for your own pipes."),
             lambda: open_algorithm("createarchive")),
        ):
            button = QPushButton(label)
            button.setToolTip(tip)
            button.clicked.connect(action)
            column.addWidget(button)
        column.addStretch()

    def _open_sample(self):
        folder = QFileDialog.getExistingDirectory(self, tr("Folder for the copy of the sample"))
        if folder:
            self.open_sample_in(Path(folder))

    def open_sample_in(self, folder):
        """Copy the sample into a folder and open its project; says why where that cannot be."""
        from ..qgis_layer.archive import ArchiveError
        from ..qgis_layer.sample import copy_sample

        try:
            project = copy_sample(folder / "Ossel Flats")
        except (ArchiveError, OSError) as fault:
            self._iface.messageBar().pushMessage("Fallkeeper", str(fault), Qgis.MessageLevel.Warning)
            return
        self._iface.addProject(str(project))
