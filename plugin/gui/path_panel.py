"""The long section of pipes that are there: asked by one click (down to the outlet) or two, shown below the map."""

from __future__ import annotations

from qgis.core import Qgis, QgsApplication, QgsGeometry, QgsWkbTypes
from qgis.gui import QgsRubberBand
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QCoreApplication
from qgis.PyQt.QtGui import QColor
from qgis.PyQt.QtWidgets import QHBoxLayout, QRadioButton, QTextBrowser, QVBoxLayout, QWidget

from .buttons import push_button
from .judge import Judge
from .map_places import MapPlaces, station_marker
from .settings import CLICK_PIXELS
from .trace_tool import TraceTool

_LINE, _LINE_WIDE = QColor(20, 70, 130, 200), 6


def tr(text):
    return QCoreApplication.translate("PathPanel", text)


class PathPanel(QWidget):
    """Shares the long section below the map with other questions; writes to it only while it is asked."""

    to_outlet_hint = "Click a pipe on the map. The long section from its outlet up to that place appears below the map."
    between_hint = "Click two places on pipes. The long section between them appears below the map."

    def __init__(self, session, iface, profile_dock, parent=None):
        super().__init__(parent)
        self._session, self._iface, self._profile = session, iface, profile_dock
        canvas = iface.mapCanvas()
        self._places = MapPlaces(session, canvas)
        self._tool = TraceTool(canvas, self.say_under)
        self._tool.clicked.connect(self.ask)
        self._tool.left.connect(self.clear)
        self._judge = Judge(session, tr("drawing the long section"), _drawn, self)
        self._judge.judged.connect(self._take)
        self._judge.failed.connect(self._refuse)
        self._band = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.LineGeometry)
        self._band.setColor(_LINE)
        self._band.setWidth(_LINE_WIDE)
        self._marker = station_marker(canvas)
        self._profile.view.hovered.connect(self._hovered)
        self.path, self._points, self._started, self._asked, self._words = None, [], False, None, ""
        session.changed.connect(self._ask_again)
        self._make_widgets()
        self.clear()

    @property
    def tool(self):
        return self._tool

    @property
    def words(self):
        """The last answer as plain text."""
        return self._words

    def start(self):
        self._started = True
        self._iface.mapCanvas().setMapTool(self._tool)

    def stop(self):
        self._iface.mapCanvas().unsetMapTool(self._tool)
        self.clear()
        self._started = False

    def close_for_good(self):
        self.stop()
        for item in (self._band, self._marker):
            self._iface.mapCanvas().scene().removeItem(item)
            sip.delete(item)

    def say_under(self, point):
        """The pipe near a point of the map in a few words; the long section shows the station there."""
        from ..answers.pipe import said_pipe

        self._show_station(point)
        place = self._places.place_near(point, CLICK_PIXELS.value)
        if place is None:
            return ""
        county = self._session.loaded.county
        return said_pipe(county, int(county.network.piece_drain[place.piece]))

    def ask(self, point):
        """A click on the map: the first or the second place, or the only one."""
        if self._session.loaded is None:
            self._refuse(tr("The pipes are not read yet. Wait for the network, or choose an archive above."))
        elif self._places.place_near(point, CLICK_PIXELS.value) is None:
            self._refuse(tr("There is no pipe within reach of the cursor. Zoom in and click on a pipe."))
        elif self._between.isChecked() and len(self._points) != 1:
            self.clear()
            self._points = [point]
            self._text.setPlainText(tr("Now click the other place."))
            self._clear.setEnabled(True)
        else:
            self._points = [*self._points, point] if self._between.isChecked() else [point]
            self._work_out()

    def clear(self):
        self._judge.cancel()
        self.path, self._points, self._words = None, [], ""
        self._band.reset(QgsWkbTypes.GeometryType.LineGeometry)
        self._marker.hide()
        self._text.setHtml(f"<p>{tr(self.between_hint if self._between.isChecked() else self.to_outlet_hint)}</p>")
        self._enable()
        if self._started:
            self._profile.show_profile(None)
            self._profile.hide()

    def _work_out(self):
        """Find the way between the places clicked, and have its section drawn in the background."""
        from ..network.walk import NoWayError, walk_between, walk_up_from_outlet

        self._asked = self._session.loaded
        network = self._asked.county.network
        places = [self._places.place_near(point, CLICK_PIXELS.value) for point in self._points]
        if None in places:  # an edit took the pipe away
            self._refuse(tr("The pipe that was clicked is not there any more. Click another one."))
            return
        try:
            walk = walk_up_from_outlet(network, *places) if len(places) == 1 else walk_between(network, *places)
        except NoWayError as fault:
            self._refuse(str(fault))
            return
        if walk.whole_m <= 0.0:
            self._refuse(tr("Both places are the same. Click two places on pipes.") if len(places) > 1 else
                         tr("Nobody knows which way the water runs here, or this is the outlet itself. Choose Between "
                            "two places and click both."))
            return
        self._judge.ask(walk)

    def _take(self, path):
        from ..answers.answer import as_html, as_text
        from ..answers.path_words import explain_path, headline

        if not self._started or self._session.loaded is None or not self._points:
            return
        self.path = path
        loaded = self._session.loaded
        answer = explain_path(path, loaded.land, loaded.land_map)
        self._words = as_text(answer)
        self._text.setHtml(as_html(answer))
        self._profile.show_profile(path.profile, f"{headline(path)}.")
        self._band.setToGeometry(self._on_map(path), None)
        self._enable()

    def _on_map(self, path):
        import numpy as np
        import shapely

        xy_m = np.concatenate([shapely.get_coordinates(one) for one in path.walk.shapes(path.county.network)])
        return QgsGeometry.fromPolylineXY(self._places.line_on_map(xy_m))

    def _ask_again(self):
        """The network is another than the one that was asked: the same question once more."""
        if not self._points or self._session.loaded is self._asked:
            return
        if self._session.loaded is None:
            self.clear()
        elif self._asked is not None:
            self._work_out()

    def _hovered(self, station_m):
        """The place on the map that belongs to the station under the cursor."""
        place = None
        if self._started and self.path is not None and station_m is not None:
            place = self._places.to_map(self.path.place_at(station_m))
        self._marker.setVisible(place is not None)
        if place is not None:
            self._marker.setCenter(place)

    def _show_station(self, point):
        """The other way: the station that belongs to the place under the cursor."""
        if self.path is None:
            return
        xy_m = self._places.to_metres([point])
        if xy_m is None:
            return
        size = self._session.loaded.unit_m
        reach_m = CLICK_PIXELS.value * self._iface.mapCanvas().mapUnitsPerPixel() * size
        self._profile.view.mark(self.path.station_near(tuple(xy_m[0].tolist()), reach_m))

    def _refuse(self, sentence):
        """Nothing can be shown; say why. What is on the map stays."""
        self._points = self._points if self.path is not None else []
        self._text.setPlainText(sentence)
        self._iface.messageBar().pushMessage("Fallkeeper", sentence, Qgis.MessageLevel.Info)

    def _enable(self):
        self._copy.setEnabled(self.path is not None)
        self._clear.setEnabled(self.path is not None)

    def _make_widgets(self):
        self._to_outlet = QRadioButton(tr("Down to the &outlet"))
        self._between = QRadioButton(tr("&Between two places"))
        self._to_outlet.setChecked(True)
        self._to_outlet.setToolTip(tr("One click: the way of the water from there to its outlet."))
        self._between.setToolTip(tr("Two clicks: the way along pipes between them, whichever way the water runs."))
        self._between.toggled.connect(lambda on: self.clear())
        self._text = QTextBrowser()
        self._copy = push_button(tr("Copy as text"), tr("Put the answer on the clipboard."),
                                 lambda: QgsApplication.clipboard().setText(self._words))
        self._clear = push_button(tr("Clear"), tr("Take the section away (Esc)."), self.clear)
        choice, buttons = QHBoxLayout(), QHBoxLayout()
        for row, widgets in ((choice, (self._to_outlet, self._between)), (buttons, (self._copy, self._clear))):
            for widget in widgets:
                row.addWidget(widget)
        choice.addStretch()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(choice)
        column.addWidget(self._text)
        column.addLayout(buttons)


def _drawn(walk, loaded, around, trees):
    from ..answers.path import profile_of

    return profile_of(loaded.county, walk, around.sampler, around.ground_name, trees)
