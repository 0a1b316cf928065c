"""The top of the dock: which archive, in what units, and how its network stands."""

from __future__ import annotations

from pathlib import Path

from qgis.PyQt.QtCore import QCoreApplication, Qt
from qgis.PyQt.QtWidgets import QComboBox, QHBoxLayout, QLabel, QProgressBar, QPushButton, QVBoxLayout, QWidget

from ..qgis_layer.network_drive import network_warning
from ..units import Units


def tr(text):
    return QCoreApplication.translate("Header", text)


class Header(QWidget):
    def __init__(self, session, parent=None):
        super().__init__(parent)
        self._session = session
        self._archive = QComboBox()
        self._archive.setToolTip(tr("The archive that is asked. Its layers are those of this project."))
        self._archive.activated.connect(self._choose)
        self._state = QLabel()
        self._state.setWordWrap(True)
        self._state.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._progress = QProgressBar()
        self._cancel = QPushButton(tr("Cancel"))
        self._cancel.clicked.connect(session.cancel)
        self._again = QPushButton(tr("Read again"))
        self._again.setToolTip(tr("Build the network anew from the layers as they are now."))
        self._again.clicked.connect(session.load)
        self._lay_out()
        session.changed.connect(self.show_state)
        session.progressed.connect(lambda percent: self._progress.setValue(int(percent)))
        self.show_state()

    def show_state(self):
        session = self._session
        archives = session.archives()
        self._archive.clear()
        for archive in archives:
            self._archive.addItem(archive.title, archive)
        self._archive.setEnabled(bool(archives))
        if not archives:
            self._archive.addItem(tr("No archive in this project"))
        elif session.archive is not None:
            self._archive.setCurrentIndex([a.place for a in archives].index(session.archive.place))
        self._progress.setVisible(session.is_loading)
        self._cancel.setVisible(session.is_loading)
        self._again.setVisible(not session.is_loading and session.archive is not None)
        self._state.setText(self._said())
        self._state.setVisible(bool(self._state.text()))

    def _said(self):
        session = self._session
        if session.problem:
            return session.problem
        if session.loaded is None:
            return tr("Reading the pipes ...") if session.is_loading else ""
        from ..answers.state import said_state

        county = session.loaded.county
        read_at = session.loaded_at.toString("hh:mm:ss")
        said = f"{said_state(county)}. {_units(county.units)}. {tr('Read at')} {read_at}."
        return "\n".join(filter(None, (said, network_warning(Path(session.archive.place)))))

    def _choose(self, index):
        self._session.choose(self._archive.itemData(index))

    def _lay_out(self):
        row = QHBoxLayout()
        for widget in (self._progress, self._cancel):
            row.addWidget(widget)
        row.addStretch()
        row.addWidget(self._again)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._archive)
        column.addWidget(self._state)
        column.addLayout(row)


def _units(units: Units) -> str:
    return f"{units.length_name}, {units.diameter_name}, {units.area_name}, {units.flow_name}"
