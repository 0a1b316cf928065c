"""The one panel of Fallkeeper: which archive, how its network stands, and a button for each question."""

from __future__ import annotations

from functools import partial

from qgis.gui import QgsDockWidget
from qgis.PyQt.QtCore import QCoreApplication, Qt
from qgis.PyQt.QtGui import QKeySequence
from qgis.PyQt.QtWidgets import (
    QGridLayout,
    QLabel,
    QShortcut,
    QSizePolicy,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from .actions import Actions
from .edit_notice import EditNotice
from .findings_panel import FindingsPanel
from .guards import Guards
from .header import Header
from .layers_page import LayersPage
from .manual import Manual
from .options_page import TITLE
from .path_panel import PathPanel
from .profile_dock import ProfileDock
from .reroute_panel import ReroutePanel
from .save_watch import SaveWatch
from .session import Session
from .start_page import StartPage
from .stock_list import StockList
from .trace_panel import TracePanel
from .write_down_panel import WriteDownPanel

_QUESTIONS_IN_A_ROW = 2


def tr(text):
    return QCoreApplication.translate("Dock", text)


class FallkeeperDock(QgsDockWidget):
    """Docked right; QGIS remembers it by its object name. `actions` holds all there is to press."""

    def __init__(self, iface, open_algorithm, complaint=""):
        """`open_algorithm(name, parameters)` opens a dialog; `complaint` says what is missing before anything works."""
        super().__init__(tr("Fallkeeper"), iface.mainWindow())
        self.setObjectName("FallkeeperDock")
        self._iface, self._open_algorithm = iface, open_algorithm
        self.session = Session(self)
        self.actions = Actions(iface.mainWindow())
        self.show_action = self.actions.take(
            self.toggleViewAction(), "fallkeeper", tr("Show or hide the panel of Fallkeeper"), "P"
        )
        self._questions, self._grid, self._pages = {}, QGridLayout(), QStackedWidget()
        self._make_pages(complaint)
        self._make_actions()
        self.header = Header(self.session, self._again, self._choose_layers)
        self._lay_out()
        self.session.changed.connect(self._show_page)
        self._guards = None if complaint else Guards(self.session, iface, self)
        self._notice = None if complaint else EditNotice(self.session, iface, self)
        # after the guards: it sees whether they stopped a save
        self._saves = None if complaint else SaveWatch(self.session, iface, self)
        self._stock = None if complaint else StockList(self.session, self)
        if not complaint:
            self.session.begin()
        self._show_page()

    def add_question(self, panel, name, text, hint, key):
        """A button with the icon `name` that opens `panel`: a widget with start, stop, close_for_good and `tool` (a map
        tool, or None). It works also by Alt+K and then `key`."""
        action = self.actions.add(name, text, hint, key, partial(self.ask, panel), checkable=True)
        button = QToolButton()
        button.setDefaultAction(action)
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        button.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._grid.addWidget(button, *divmod(len(self._questions), _QUESTIONS_IN_A_ROW))
        self._pages.addWidget(panel)
        self._questions[panel] = action
        if panel.tool is not None:
            panel.tool.deactivated.connect(partial(self._tool_taken, panel))

    def ask(self, panel, on=True):
        """Turn to a question, or leave it."""
        for other, action in self._questions.items():
            action.setChecked(on and other is panel)
            if other is not panel or not on:
                other.stop()
        if on:
            self.setUserVisible(True)
            panel.start()
        self._show_page()

    def close_for_good(self):
        """Let go of everything in QGIS but the dock itself."""
        if self._guards is not None:
            for watch in (self._guards, self._notice, self._saves, self._stock):
                watch.release()
        for panel in self._questions:
            panel.close_for_good()
        self.session.close()
        self.actions.release()
        self.profile.close()
        self.profile.deleteLater()

    def open_manual(self):
        manual = self._iface.mainWindow().findChild(Manual, "FallkeeperManual") or Manual(self._iface.mainWindow())
        manual.show()
        manual.raise_()

    def _make_pages(self, complaint):
        self.start_page = StartPage(self._iface, self._open_algorithm)
        self._idle = QLabel(tr("Choose a question above."))
        self._complaint = QLabel(complaint)
        for words in (self._idle, self._complaint):
            words.setWordWrap(True)
            words.setAlignment(Qt.AlignmentFlag.AlignTop)
            words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.layers_page = LayersPage(self.session)
        self.layers_page.left.connect(self._show_page)
        for page in (self.start_page, self._idle, self._complaint, self.layers_page):
            self._pages.addWidget(page)
        self.trace = TracePanel(self.session, self._iface)
        self.add_question(self.trace, "trace", tr("What hangs on a pipe"),
                          tr("Click a pipe: what drains through it, whose land, and where its water goes"), "H")
        self.findings = FindingsPanel(self.session, self._iface.mapCanvas())
        self.add_question(self.findings, "findings", tr("What is wrong"),
                          tr("Check the pipes and work through what was found, the worst first"), "W")
        self.profile = ProfileDock(self._iface)
        self.path = PathPanel(self.session, self._iface, self.profile)
        self.add_question(self.path, "path", tr("Long section"),
                          tr("Click one or two places on pipes: ground, pipe and what joins, from the side"), "G")
        self.reroute = ReroutePanel(self.session, self._iface, self.profile)
        self.add_question(self.reroute, "reroute", tr("Draw a reroute"),
                          tr("Draw a new pipe on the map and see at once whether it falls"), "R")
        self.write_down = WriteDownPanel(self.session, self._iface)
        self.add_question(self.write_down, "write_down", tr("Write down"),
                          tr("A call, a reading or a repair: press what it is, then click its place on the map"), "D")
        self.findings.trace_wanted.connect(self._trace_at)

    def _make_actions(self):
        add = self.actions.add
        self._again = add("again", tr("Read again"), tr("Build the network anew from the layers as they are now"), "U",
                          self.session.load_anew)
        self._choose_layers = add("layers", tr("Layers ..."), tr("Take other layers than those that were found"), "L",
                                  self._show_layers)
        add("settings", tr("Settings ..."), tr("What is read, how far a click reaches, paper"), "S",
            lambda: self._iface.showOptionsDialog(self._iface.mainWindow(), TITLE))
        self.help_action = add("help", tr("Fallkeeper: manual"), tr("How to work with Fallkeeper; needs no network"),
                               "M", self.open_manual)
        leave = QShortcut(QKeySequence(Qt.Key.Key_Escape), self)
        leave.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        leave.activated.connect(self._leave)

    def _trace_at(self, point):
        """What hangs on the pipe at a point of the map."""
        self.ask(self.trace)
        self.trace.ask(point)

    def _leave(self):
        """Escape in the panel: no question is asked any more."""
        for panel, action in self._questions.items():
            if action.isChecked():
                self.ask(panel, False)

    def _show_layers(self):
        self.setUserVisible(True)
        self.layers_page.begin()
        self._pages.setCurrentWidget(self.layers_page)

    def _show_page(self):
        asked = [panel for panel, action in self._questions.items() if action.isChecked()]
        if self._complaint.text():
            page = self._complaint
        elif self.session.archive is None:
            page = self.start_page
        else:
            page = (asked or [self._idle])[0]
        for action in (*self._questions.values(), self._again):
            action.setEnabled(self.session.archive is not None)
        self._choose_layers.setEnabled(not self._complaint.text())
        self._pages.setCurrentWidget(page)

    def _tool_taken(self, panel):
        """Another map tool was taken: the question is over, its answer stays on the map."""
        self._questions[panel].setChecked(False)

    def _lay_out(self):
        body = QWidget()
        column = QVBoxLayout(body)
        column.addWidget(self.header)
        column.addLayout(self._grid)
        column.addWidget(self._pages, 1)
        self.setWidget(body)
