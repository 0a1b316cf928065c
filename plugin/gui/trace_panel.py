"""The answer to "what hangs on this pipe?": asked by a click, shown on the map at once, then in words."""

from __future__ import annotations

from qgis.core import QgsApplication, QgsCoordinateTransform, QgsCsException, QgsGeometry, QgsPointXY, QgsProject
from qgis.PyQt.QtCore import QCoreApplication, QTimer
from qgis.PyQt.QtWidgets import QHBoxLayout, QPushButton, QTextBrowser, QVBoxLayout, QWidget

from .highlight import Highlight
from .trace_tool import TraceTool

_REACH_PIXELS = 12


def tr(text):
    return QCoreApplication.translate("TracePanel", text)


class TracePanel(QWidget):
    """Switches the map tool on while it is shown; `session` holds the county that is asked."""

    hint = "Click a pipe on the map, anywhere along it. You will see what drains through that place, and where its " \
           "water goes."

    def __init__(self, session, canvas, keep_as_layers, parent=None):
        """`keep_as_layers(point_xy)` runs the traces as algorithms; the point is in the CRS of the drains."""
        super().__init__(parent)
        self._session, self._canvas, self._keep_as_layers = session, canvas, keep_as_layers
        self._tool = TraceTool(canvas, self.say_under)
        self._tool.clicked.connect(self.ask)
        self._tool.left.connect(self.clear)
        self._highlight = Highlight(canvas)
        self._words, self._point, self._traced, self._asked = "", None, None, None
        session.changed.connect(self._ask_again)
        self._text = QTextBrowser()
        self._text.setHtml(f"<p>{tr(self.hint)}</p>")
        self._copy = self._button(tr("Copy as text"), tr("Put the answer on the clipboard."), self._copy_text)
        self._keep = self._button(tr("Keep as layers"), tr("Add pipes and land above as layers."), self._keep_it)
        self._clear = self._button(tr("Clear"), tr("Take the answer off the map (Esc)."), self.clear)
        self._lay_out()

    @property
    def tool(self):
        return self._tool

    @property
    def words(self):
        """The last answer as plain text."""
        return self._words

    def start(self):
        self._canvas.setMapTool(self._tool)

    def stop(self):
        self._canvas.unsetMapTool(self._tool)
        self.clear()

    def close_for_good(self):
        self.stop()
        self._highlight.remove()

    def say_under(self, point):
        """The pipe near a point of the map in a few words; nothing where there is none."""
        from ..answers.pipe import said_pipe

        place = self._place(point)
        if place is None:
            return ""
        county = self._session.loaded.county
        return said_pipe(county, int(county.network.piece_drain[place.piece]))

    def ask(self, point):
        """Trace from the pipe nearest to a point of the map."""
        from ..answers.trace import trace_from

        place = self._place(point)
        if self._session.loaded is None:
            self._say(tr("The pipes are not read yet. Wait for the network, or choose an archive above."))
        elif place is None:
            self.clear()
            self._say(tr("There is no pipe within reach of the cursor. Zoom in and click on a pipe."))
        else:
            self._asked = self._session.loaded
            county = self._asked.county
            self._traced, self._point = trace_from(county, place), point
            self._draw(county)
            self._say(tr("Working out whose land it is ..."))
            QTimer.singleShot(0, self._explain)

    def clear(self):
        self._highlight.clear()
        self._traced, self._words = None, ""
        self._text.setHtml(f"<p>{tr(self.hint)}</p>")
        self._enable(False)

    def _place(self, point):
        """The place on a pipe within a few pixels of a point of the map."""
        from ..network.trace import NoPipeError, place_near

        loaded = self._session.loaded
        here = None if loaded is None else self._to_drains(point)
        if here is None:
            return None
        reach_m = _REACH_PIXELS * self._canvas.mapUnitsPerPixel() * loaded.unit_m
        size = loaded.unit_m
        try:
            return place_near(loaded.county.network, (here.x() * size, here.y() * size), reach_m)
        except NoPipeError:
            return None

    def _to_drains(self, point, backward=False):
        """A point of the map in the CRS of the drains, or the other way; None where that cannot be."""
        drains, map_crs = self._session.archive.drains.crs(), self._canvas.mapSettings().destinationCrs()
        pair = (drains, map_crs) if backward else (map_crs, drains)
        try:
            return QgsCoordinateTransform(*pair, QgsProject.instance()).transform(point)
        except QgsCsException:
            return None

    def _draw(self, county):
        from ..answers.trace import shapes_above, shapes_below

        size, drains = self._session.loaded.unit_m, self._session.archive.drains
        above, below = shapes_above(county, self._traced), shapes_below(county, self._traced)
        at = county.network.lines.points_at(
            county.network.pieces.line[[self._traced.place.piece]], [self._traced.place.at_m]
        )[0] / size
        place = self._to_drains(QgsPointXY(*at), backward=True) or QgsPointXY(*at)
        self._highlight.show(_geometry(above, size), _geometry(below, size), place,
                             self._arrows([*above, *below], size), drains)

    def _arrows(self, shapes, size):
        from ..answers.trace import middle_segments

        same = self._session.archive.drains.crs() == self._canvas.mapSettings().destinationCrs()
        pairs = []
        for x0, y0, x1, y1 in (middle_segments(shapes) / size).tolist():
            ends = QgsPointXY(x0, y0), QgsPointXY(x1, y1)
            pairs.append(ends if same else tuple(self._to_drains(end, backward=True) or end for end in ends))
        return pairs

    def _ask_again(self):
        """The network is another than the one that was asked: the same question once more."""
        if self._traced is not None and self._session.loaded is not self._asked:
            if self._session.loaded is None:
                self.clear()
            else:
                self.ask(self._point)

    def _explain(self):
        from ..answers.answer import as_html, as_text
        from ..answers.trace import explain

        loaded = self._session.loaded
        if self._traced is None or loaded is None:
            return
        answer = explain(loaded.county, self._traced, loaded.land, loaded.land_map)
        self._words = as_text(answer)
        self._text.setHtml(as_html(answer))
        self._enable(True)

    def _say(self, sentence):
        self._text.setPlainText(sentence)
        self._enable(False)

    def _copy_text(self):
        QgsApplication.clipboard().setText(self._words)

    def _keep_it(self):
        self._keep_as_layers(self._to_drains(self._point))

    def _enable(self, answered):
        for button in (self._copy, self._keep, self._clear):
            button.setEnabled(answered)

    def _button(self, label, tip, action):
        button = QPushButton(label)
        button.setToolTip(tip)
        button.setEnabled(False)
        button.clicked.connect(action)
        return button

    def _lay_out(self):
        buttons = QHBoxLayout()
        for button in (self._copy, self._keep, self._clear):
            buttons.addWidget(button)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._text)
        column.addLayout(buttons)


def _geometry(shapes, size):
    """One geometry of many lines, in units of the CRS."""
    import shapely

    geometry = QgsGeometry()
    whole = shapely.multilinestrings(shapes)
    if size != 1.0:
        whole = shapely.transform(whole, lambda xy: xy / size)
    geometry.fromWkb(shapely.to_wkb(whole, output_dimension=2))
    return geometry
