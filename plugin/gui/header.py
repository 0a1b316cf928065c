"""The top of the dock: which archive, in what units, and how its network stands."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsProject
from qgis.PyQt.QtCore import QDateTime, Qt, QTimer
from qgis.PyQt.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ..qgis_layer.network_drive import network_warning
from ..qgis_layer.project_layers import remember
from ..units import Units
from .counted import counted

_MINUTE_MS = 60_000


def tr(text, count=-1):
    return counted("Header", text, count)


class Header(QWidget):
    def __init__(self, session, again, choose_layers, parent=None):
        """`again`, `choose_layers`: the actions to read everything anew and to choose other layers."""
        super().__init__(parent)
        self._session = session
        self._archive = QComboBox()
        self._archive.setToolTip(tr("The archive that is asked. Its layers are those of this project."))
        self._archive.activated.connect(self._choose)
        self._state = QLabel()
        self._state.setWordWrap(True)
        self._state.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._progress = QProgressBar()
        self._cancel = QPushButton(tr("&Cancel"))
        self._cancel.setToolTip(tr("Stop reading; what was known before stays."))
        self._cancel.clicked.connect(session.cancel)
        self._again, self._layers = QToolButton(), QToolButton()
        for button, action in ((self._again, again), (self._layers, choose_layers)):
            button.setDefaultAction(action)
            button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self._lay_out()
        self._clock = QTimer(self)
        self._clock.setInterval(_MINUTE_MS)
        self._clock.timeout.connect(self._show_words)
        self._clock.start()
        session.changed.connect(self.show_state)
        session.progressed.connect(lambda percent: self._progress.setValue(int(percent)))
        self.show_state()

    def show_state(self):
        session = self._session
        archives = session.archives()
        self._archive.clear()
        titles = [archive.title for archive in archives]
        for archive in archives:
            where = f" ({archive.where})" if titles.count(archive.title) > 1 else ""
            self._archive.addItem(f"{archive.title}{where}", archive)
        self._archive.setEnabled(bool(archives))
        if not archives:
            self._archive.addItem(tr("No archive in this project"))
        elif session.archive is not None:
            self._archive.setCurrentIndex([a.place for a in archives].index(session.archive.place))
        self._progress.setVisible(session.is_loading)
        self._cancel.setVisible(session.is_loading)
        for button in (self._again, self._layers):
            button.setVisible(not session.is_loading)
        self._again.defaultAction().setEnabled(session.archive is not None)
        self._show_words()

    def _show_words(self):
        self._state.setText(self._said())
        self._state.setVisible(bool(self._state.text()))

    def _said(self):
        session = self._session
        if session.loaded is None:
            said = session.problem or (tr("Reading the pipes ...") if session.is_loading else "")
            return "\n".join(filter(None, (said, *session.look.sentences)))
        from ..answers.state import said_state

        county = session.loaded.county
        said = f"{said_state(county)}. {_units(county.units)}. {self._age()}"
        further = (self._unsaved(), self._warning(), *session.look.sentences)
        return "\n".join(filter(None, (session.problem, said, *further)))

    def _age(self):
        """How old the network is, and whether it lacks an edit."""
        at = self._session.read_at
        minutes = at.secsTo(QDateTime.currentDateTime()) // 60
        ago = f", {tr('%n minute(s) ago', minutes)}" if minutes else ""
        behind = "" if self._session.is_loading or not self._session.is_behind else (
            f" {tr('Edits since then are not in it yet: press Read again.')}")
        return f"{tr('Read at')} {at.toString('hh:mm:ss')}{ago}.{behind}"

    def _unsaved(self):
        count = int(self._session.loaded.unsaved.sum())
        return tr("%n pipe(s) with edits that are not saved; answers count them as drawn.", count) if count else ""

    def _warning(self):
        place = self._session.archive.place
        return network_warning(place) if isinstance(place, Path) else ""

    def _choose(self, index):
        archive = self._archive.itemData(index)
        if archive is not None:
            remember(QgsProject.instance(), archive)
            self._session.choose(archive)

    def _lay_out(self):
        row = QHBoxLayout()
        for widget in (self._progress, self._cancel):
            row.addWidget(widget)
        row.addWidget(self._again)
        row.addWidget(self._layers)
        row.addStretch()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._archive)
        column.addWidget(self._state)
        column.addLayout(row)


def _units(units: Units) -> str:
    return f"{units.length_name}, {units.diameter_name}, {units.area_name}, {units.flow_name}"
