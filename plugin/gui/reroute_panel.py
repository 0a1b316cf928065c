"""Draw a new pipe and see whether it falls: verdict and profile while it is drawn, alternatives side by side."""

from __future__ import annotations

from qgis.core import Qgis, QgsGeometry, QgsPointXY
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QCoreApplication, QTimer
from qgis.PyQt.QtWidgets import QHBoxLayout, QTextBrowser, QVBoxLayout, QWidget

from .alternatives import Alternatives
from .buttons import push_button
from .judge import Judge
from .map_places import MapPlaces, station_marker
from .record_edit import RecordEditError, add_row
from .reroute_form import RerouteForm
from .reroute_tool import RerouteTool
from .settings import CLICK_PIXELS

_SETTLE_MS = 120


def tr(text):
    return QCoreApplication.translate("ReroutePanel", text)


class ReroutePanel(QWidget):
    hint = "Draw the new pipe on the map: click its points from one pipe to the other, right click at the end. The " \
           "ends take their inverts from the pipes. Backspace takes a point back, Esc all of them."

    def __init__(self, session, iface, profile_dock, parent=None):
        super().__init__(parent)
        self._session, self._iface, self._profile = session, iface, profile_dock
        canvas = iface.mapCanvas()
        self._places = MapPlaces(session, canvas)
        self._tool = RerouteTool(
            canvas, iface.cadDockWidget(), lambda point: self._places.on_pipe(point, CLICK_PIXELS.value)
        )
        self._tool.changed.connect(self._drawn)
        self._tool.finished.connect(lambda points: self._drawn(points, None))
        self._judge = Judge(session, tr("judging the new pipe"), _judged, self)
        self._judge.judged.connect(self._take)
        self._judge.failed.connect(self._say)
        self.current, self.kept = None, []
        self._points, self._started = [], False
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self._ask)
        self._marker = station_marker(canvas)
        self._profile.view.hovered.connect(self._hovered)
        session.changed.connect(self._county_changed)
        self._make_widgets()
        self._county_changed()

    @property
    def tool(self):
        return self._tool

    def start(self):
        self._started = True
        self._iface.mapCanvas().setMapTool(self._tool)
        self._show()

    def stop(self):
        self._started = False
        self._iface.mapCanvas().unsetMapTool(self._tool)
        self._tool.clear()
        self._marker.hide()
        self._profile.show_profile(None)
        self._profile.hide()

    def close_for_good(self):
        self.stop()
        self._judge.cancel()
        self._tool.remove()
        self._iface.mapCanvas().scene().removeItem(self._marker)
        sip.delete(self._marker)

    def keep_beside(self):
        """Put the line beside the others, to compare; the next one gets a name of its own."""
        from ..answers.reroute import MOST_ALTERNATIVES

        if self.current is None:
            return
        self.kept = [one for one in self.kept if one.name != self.current.name]
        if len(self.kept) == MOST_ALTERNATIVES:
            self._say(tr("Five alternatives are kept already: take one away first."))
            return
        self.kept.append(self.current)
        self._form.set_name(self._next_name())
        self._tool.clear()
        self.current, self._points = None, []
        self._show()

    def drop(self):
        """Take the chosen alternative away."""
        chosen = self._chosen()
        self.kept = [one for one in self.kept if one is not chosen]
        self._show()

    def propose(self):
        """Add the chosen alternative to the drains as proposed: one edit, not saved, that can be undone."""
        from ..answers.reroute import proposed_row

        chosen = self._chosen() or self.current
        if chosen is None:
            return
        drains = self._session.archive.drains
        size = self._session.loaded.unit_m
        line = QgsGeometry.fromPolylineXY([QgsPointXY(x / size, y / size) for x, y in chosen.asked.xy_m.tolist()])
        try:
            add_row(drains, line, proposed_row(chosen, self._role(chosen)),
                    tr("Proposed pipe {}").format(chosen.name))
        except RecordEditError as fault:
            self._push(str(fault), Qgis.MessageLevel.Warning)
            return
        self._push(tr("{} was added as proposed. It is not saved yet: save the layer '{}', or undo.").format(
            chosen.name, drains.name()), Qgis.MessageLevel.Success)

    def _drawn(self, points, under):
        """The line has another point, or the cursor has moved."""
        self._points = [*points, under] if under is not None else list(points)
        if len(self._points) < 2:
            self._settle.stop()
            self._judge.cancel()
            self.current = None
            self._show()
        else:
            self._settle.start()

    def _ask(self):
        """Judge the line as it is drawn now, with what is typed."""
        loaded = self._session.loaded
        if loaded is None or len(self._points) < 2:
            return
        xy_m = self._places.to_metres(self._points)
        if xy_m is None:
            self._say(tr("The line lies where the map and the pipes have no common place: zoom to the pipes."))
            return
        try:
            asked = self._form.asked(loaded.county.units, xy_m)
        except ValueError as fault:
            self._say(str(fault))
            return
        self._judge.ask(asked)

    def _take(self, alternative):
        if self._started:
            self.current = alternative
            self._show()

    def _county_changed(self):
        loaded = self._session.loaded
        if loaded is None:
            self.current, self.kept = None, []
            return
        if self._form.units_of is not loaded:
            self._form.units_of = loaded
            self._form.set_units(loaded.county.units)
            self._ask()

    def _hovered(self, station_m):
        """The place on the map that belongs to the station under the cursor."""
        shown = self._shown()
        if shown is None or station_m is None or not self._started:
            self._marker.hide()
            return
        place = self._places.to_map(shown.place_at(station_m))
        self._marker.setVisible(place is not None)
        if place is not None:
            self._marker.setCenter(place)

    def _chosen(self):
        """The alternative whose column is selected."""
        column = self._table.currentColumn()
        return self.kept[column] if 0 <= column < len(self.kept) else None

    def _shown(self):
        return self.current or self._chosen()

    def _choose(self):
        if self.current is None and self._chosen() is not None:
            self._show_one(self._chosen())
            self._tool.show_line(self._places.line_on_map(self._chosen().asked.xy_m))
        self._enable()

    def _show(self):
        self._table.fill(self.kept, self.current)
        self._show_one(self._shown())
        self._enable()

    def _show_one(self, alternative):
        from ..answers.answer import as_html
        from ..answers.reroute import explain

        if alternative is None:
            self._text.setHtml(f"<p>{tr(self.hint)}</p>")
            self._profile.show_profile(None)
            return
        self._text.setHtml(as_html(explain(alternative)))
        self._profile.show_profile(alternative.profile, f"{alternative.name}: {alternative.headline}")

    def _next_name(self):
        taken = {one.name for one in self.kept}
        return next(name for name in (f"R{number}" for number in range(1, 100)) if name not in taken)

    def _role(self, alternative):
        """That of the pipe its lower end ties in to, else of the upper one; a main where nothing tells."""
        reroute = alternative.reroute
        roles = [reroute.network.drains.role[reroute.network.lines.drain[tie.end.line]]
                 for tie in (reroute.upper, reroute.lower) if tie.end.place is not None]
        return next((str(role) for role in roles if role is not None), "main")

    def _say(self, sentence):
        self._text.setPlainText(sentence)
        self.current = None
        self._profile.show_profile(None)
        self._enable()

    def _push(self, sentence, level):
        self._iface.messageBar().pushMessage("Fallkeeper", sentence, level)

    def _enable(self):
        self._keep.setEnabled(self.current is not None)
        self._drop.setEnabled(self._chosen() is not None)
        self._propose.setEnabled(self._shown() is not None)

    def _make_widgets(self):
        self._form = RerouteForm()
        self._form.units_of = None
        self._form.changed.connect(self._settle.start)
        self._text = QTextBrowser()
        self._table = Alternatives()
        self._table.itemSelectionChanged.connect(self._choose)
        self._keep = push_button(tr("&Keep beside"), tr("Keep this line to compare it with others; up to five."),
                                 self.keep_beside)
        self._drop = push_button(tr("Take a&way"), tr("Take the chosen alternative away."), self.drop)
        self._propose = push_button(tr("Add as &proposed"), tr(
            "Add the chosen line, else the one being drawn, to the drains as proposed. You save it, or undo."),
            self.propose)
        buttons = QHBoxLayout()
        for button in (self._keep, self._drop, self._propose):
            buttons.addWidget(button)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._form)
        column.addWidget(self._text, 1)
        column.addWidget(self._table, 1)
        column.addLayout(buttons)


def _judged(asked, loaded, around, trees):
    from ..answers.reroute import judge

    return judge(loaded.county, asked, around.sampler, around.ground_name, trees, loaded.land)
