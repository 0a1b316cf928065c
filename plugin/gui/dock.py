"""The one panel of Fallkeeper: which archive, how its network stands, and a button for each question."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import QCoreApplication, Qt
from qgis.PyQt.QtGui import QIcon
from qgis.PyQt.QtWidgets import QHBoxLayout, QLabel, QStackedWidget, QToolButton, QVBoxLayout, QWidget

from .findings_panel import FindingsPanel
from .guards import Guards
from .header import Header
from .session import Session
from .start_page import StartPage
from .trace_panel import TracePanel

ICONS = Path(__file__).resolve().parents[1] / "icons"


def tr(text):
    return QCoreApplication.translate("Dock", text)


class FallkeeperDock(QgsDockWidget):
    """Docked right; QGIS remembers it by its object name."""

    def __init__(self, iface, open_algorithm, complaint=""):
        """`open_algorithm(name, parameters)` opens a dialog; `complaint` says what is missing before anything works."""
        super().__init__(tr("Fallkeeper"), iface.mainWindow())
        self.setObjectName("FallkeeperDock")
        self.session = Session(self)
        self.header = Header(self.session)
        self.start_page = StartPage(iface, open_algorithm)
        self.trace = TracePanel(self.session, iface.mapCanvas(), self._keep_trace)
        self._open_algorithm = open_algorithm
        self._iface = iface
        self.findings = FindingsPanel(self.session, iface.mapCanvas())
        self._buttons = {
            self.trace: self._question(tr("What hangs on a pipe"), "trace.svg", self.trace),
            self.findings: self._question(tr("What is wrong"), "findings.svg", self.findings),
        }
        self._pages = QStackedWidget()
        self._complaint = QLabel(complaint)
        self._complaint.setWordWrap(True)
        for page in (self.start_page, self._idle(), self._complaint, *self._buttons):
            self._pages.addWidget(page)
        self._lay_out()
        for panel in self._buttons:
            if panel.tool is not None:
                panel.tool.deactivated.connect(partial(self._tool_taken, panel))
        self.session.changed.connect(self._show_page)
        self._guards = None if complaint else Guards(self.session, iface, self)
        if not complaint:
            self.session.choose((self.session.archives() or [None])[0])
        self._show_page()

    def ask(self, panel, on=True):
        """Turn to a question, or leave it."""
        for other, button in self._buttons.items():
            button.setChecked(on and other is panel)
            if other is not panel or not on:
                other.stop()
        if on:
            panel.start()
        self._show_page()

    def close_for_good(self):
        if self._guards is not None:
            self._guards.release()
        for panel in self._buttons:
            panel.close_for_good()
        self.session.close()

    def _question(self, label, icon, panel):
        button = QToolButton()
        button.setText(label)
        button.setIcon(QIcon(str(ICONS / icon)))
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        button.setCheckable(True)
        button.clicked.connect(lambda on: self.ask(panel, on))
        return button

    def _show_page(self):
        asked = [panel for panel, button in self._buttons.items() if button.isChecked()]
        if self._complaint.text():
            page = self._complaint
        elif self.session.archive is None:
            page = self.start_page
        else:
            page = (asked or [self._pages.widget(1)])[0]
        for button in self._buttons.values():
            button.setEnabled(self.session.archive is not None)
        self._pages.setCurrentWidget(page)

    def _tool_taken(self, panel):
        """Another map tool was taken: the question is over, its answer stays on the map."""
        self._buttons[panel].setChecked(False)

    def _keep_trace(self, point):
        """Run both traces as algorithms, so that their results arrive as layers with symbols."""
        self._open_algorithm("traceupstream", self._inputs(point))

    def _inputs(self, point):
        layers = self.session.archive.layers
        given = {key: layers[name] for key, name in
                 (("DRAINS", "drains"), ("STRUCTURES", "structures"), ("SHOTS", "shots"), ("LAND", "land"))
                 if name in layers}
        return {**given, "POINT": f"{point.x()},{point.y()} [{layers['drains'].crs().authid()}]"}

    def _idle(self):
        words = QLabel(tr("Choose a question above."))
        words.setAlignment(Qt.AlignmentFlag.AlignTop)
        return words

    def _lay_out(self):
        body = QWidget()
        column = QVBoxLayout(body)
        column.addWidget(self.header)
        row = QHBoxLayout()
        for button in self._buttons.values():
            row.addWidget(button)
        row.addStretch()
        column.addLayout(row)
        column.addWidget(self._pages, 1)
        self.setWidget(body)
