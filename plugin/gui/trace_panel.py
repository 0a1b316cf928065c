"""The answer to "what hangs on this pipe?": asked by a click or a name, shown on the map at once, then in words."""

from __future__ import annotations

from pathlib import Path

from qgis.core import Qgis, QgsApplication
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QCoreApplication, QTimer
from qgis.PyQt.QtWidgets import (
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from .buttons import push_button
from .highlight import Highlight, lines_of
from .judge_task import JudgeTask
from .map_places import MapPlaces
from .settings import ARROWS, CLICK_PIXELS, NEAREST_M
from .trace_results import KeptTrace, print_answer
from .trace_tool import TraceTool

_ROOM = 1.2  # how much more than the answer the map shows around it


def tr(text):
    return QCoreApplication.translate("TracePanel", text)


class TracePanel(QWidget):
    """Switches the map tool on while it is shown; `session` holds the county that is asked."""

    hint = "Click a pipe on the map, anywhere along it, or a wet spot beside it. You will see what drains through " \
           "that place, and where its water goes."

    def __init__(self, session, iface, parent=None):
        super().__init__(parent)
        self._session, self._iface, self._canvas = session, iface, iface.mapCanvas()
        self._places = MapPlaces(session, self._canvas)
        self._tool = TraceTool(self._canvas, self.say_under)
        self._tool.clicked.connect(self.ask)
        self._tool.left.connect(self.leave)
        self._tool_before = None
        self._highlight = Highlight(self._canvas)
        self._answer = self._point = self._traced = self._asked = self._task = None
        self._kept = KeptTrace(self)
        self._kept.told.connect(self._tell)
        session.changed.connect(self._county_changed)
        self._make_widgets()
        self._lay_out()

    @property
    def tool(self):
        return self._tool

    @property
    def words(self):
        """The last answer as plain text."""
        if self._answer is None:
            return ""
        from ..answers.answer import as_text

        return as_text(self._answer)

    def start(self):
        if self._canvas.mapTool() is not self._tool:
            self._tool_before = self._canvas.mapTool()
            self._canvas.setMapTool(self._tool)

    def stop(self):
        self._canvas.unsetMapTool(self._tool)
        self.clear()

    def leave(self):
        """Escape: first the answer goes, then the question; the tool that was in use before comes back."""
        if self._traced is not None:
            self.clear()
        elif self._tool_before is not None and not sip.isdeleted(self._tool_before):
            self._canvas.setMapTool(self._tool_before)
        else:
            self._canvas.unsetMapTool(self._tool)

    def close_for_good(self):
        self._kept.stop()
        self.stop()
        self._highlight.remove()

    def say_under(self, point):
        """The pipe near a point of the map in a few words; nothing where there is none."""
        from ..answers.pipe import said_pipe

        place = self._places.near(point, self._reach_m())
        if place is None:
            return ""
        loaded = self._session.loaded
        drain = int(loaded.county.network.piece_drain[place.piece])
        return said_pipe(loaded.county, drain) + (f" ({tr('not saved')})" if loaded.unsaved[drain] else "")

    def ask(self, point):
        """Trace from the pipe nearest to a point of the map."""
        if self._session.loaded is None:
            self._refuse(tr("The pipes are not read yet. Wait for the network, or choose an archive above."))
            return
        place = self._places.near(point, max(self._reach_m(), NEAREST_M.value))
        if place is None:
            self.clear()
            self._refuse(tr("There is no pipe within reach of the cursor. Zoom in and click on a pipe."))
        else:
            self._ask_place(place, point)

    def ask_named(self):
        """Trace from the lower end of the drain whose name or key was typed."""
        from ..answers.find_pipe import foot_of, named

        words = self._name.text().strip()
        if self._session.loaded is None or not words:
            return
        county = self._session.loaded.county
        drain = named(county, words)
        place = None if drain is None else foot_of(county, drain)
        if place is None:
            self._refuse(tr("No pipe in the network is called {}.").format(words))
            return
        self._ask_place(place, self._places.on_map(place))
        self._show_all()

    def clear(self):
        self._stop_explaining()
        self._highlight.clear()
        self._traced = self._answer = None
        self._text.setHtml(f"<p>{tr(self.hint)}</p>")
        self._enable(False)

    def print_to(self, path):
        """Write the answer as a page to print."""
        from ..answers.state import said_state

        county = self._session.loaded.county
        try:
            print_answer(path, self._answer, self._session.archive, said_state(county), self._canvas, county.units)
        except OSError as fault:
            self._tell(str(fault))
        else:
            self._tell(tr("The page was written to {}").format(path))

    def _reach_m(self):
        return 0.0 if self._session.loaded is None else self._places.pixels_m(CLICK_PIXELS.value)

    def _ask_place(self, place, point):
        from ..answers.trace import trace_from

        self._asked, self._hit_m = self._session.loaded, self._reach_m()
        self._traced, self._point = trace_from(self._asked.county, place), point
        self._answer = None
        self._draw(self._asked.county)
        self._say(tr("Working out whose land it is ..."))
        self._explain()

    def _draw(self, county):
        from ..answers.trace import middle_segments, shapes_above, shapes_below

        size = self._session.loaded.unit_m
        above, below = shapes_above(county, self._traced), shapes_below(county, self._traced)
        arrows = self._places.segments_on_map(middle_segments([*above, *below]) / size) if ARROWS.value else ()
        at = self._places.on_map(self._traced.place)
        self._highlight.show(lines_of(above, size), lines_of(below, size, merged=True), at, arrows,
                             self._session.archive.drains)

    def _show_all(self):
        """The map as far as the answer reaches."""
        box = self._highlight.extent()
        box.scale(_ROOM)
        self._canvas.setExtent(box)
        self._canvas.refresh()

    def _county_changed(self):
        """The network is another than the one that was asked: the same question once more, when others were told."""
        if self._is_outdated:
            QTimer.singleShot(0, self._ask_again)

    def _ask_again(self):
        if not self._is_outdated:
            return
        if self._session.loaded is None:
            self.clear()
        else:
            self.ask(self._point)

    @property
    def _is_outdated(self):
        return self._traced is not None and self._session.loaded is not self._asked

    def _explain(self):
        """In the background: the land of a large system takes longer than a blink."""
        from ..answers.trace import explain

        loaded, traced, hit_m = self._asked, self._traced, self._hit_m
        self._stop_explaining()
        task = JudgeTask(tr("working out whose land it is"), lambda: explain(
            loaded.county, traced, loaded.land, loaded.land_map, loaded.unsaved, hit_m))
        task.done.connect(lambda answer: self._take(traced, answer))
        task.failed.connect(lambda why: self._say(why) if traced is self._traced else None)
        self._task = task
        QgsApplication.taskManager().addTask(task)

    def _take(self, traced, answer):
        from ..answers.answer import as_html

        if traced is not self._traced:
            return  # another question, or none, since
        self._answer = answer
        self._text.setHtml(as_html(answer))
        self._enable(True)

    def _stop_explaining(self):
        task, self._task = self._task, None
        if task is not None and not sip.isdeleted(task):
            task.cancel()

    def _say(self, sentence):
        self._text.setPlainText(sentence)
        self._enable(False)

    def _refuse(self, sentence):
        self._say(sentence)
        self._tell(sentence)

    def _tell(self, sentence):
        self._iface.messageBar().pushMessage("Fallkeeper", sentence, Qgis.MessageLevel.Info)

    def _copy_text(self):
        QgsApplication.clipboard().setText(self.words)

    def _keep_it(self):
        if not self._kept.is_running:
            point = self._places.in_drains(self._traced.place)
            self._kept.keep(self._session.archive, point, self._answer.title)

    def _print_it(self):
        path, _ = QFileDialog.getSaveFileName(self, tr("Page to print"), "", tr("PDF (*.pdf)"))
        if path:
            self.print_to(Path(path).with_suffix(".pdf"))

    def _enable(self, answered):
        for button in self._after:
            button.setEnabled(answered)

    def _make_widgets(self):
        self._text = QTextBrowser()
        self._text.setHtml(f"<p>{tr(self.hint)}</p>")
        self._name = QLineEdit()
        self._name.setPlaceholderText(tr("or type its name or key, and Enter"))
        self._name.setToolTip(tr("Asks at the lower end of that pipe; without the mouse."))
        self._name.returnPressed.connect(self.ask_named)
        self._copy = push_button(tr("&Copy as text"), tr("Put the answer on the clipboard."), self._copy_text)
        self._keep = push_button(tr("&Keep as layers"), tr("Add pipes above and below and the land above as layers."),
                                 self._keep_it)
        self._print = push_button(tr("&Print ..."), tr("A page with map, answer and cautions, as PDF."),
                                  self._print_it)
        self._clear = push_button(tr("Clea&r"), tr("Take the answer off the map (Esc)."), self.clear)
        self._after = (self._copy, self._keep, self._print, self._clear)
        self._enable(False)

    def _lay_out(self):
        row, buttons = QHBoxLayout(), QGridLayout()
        label = QLabel(tr("P&ipe"))
        label.setBuddy(self._name)
        row.addWidget(label)
        row.addWidget(self._name)
        for k, button in enumerate(self._after):
            buttons.addWidget(button, *divmod(k, 2))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(row)
        column.addWidget(self._text)
        column.addLayout(buttons)
