"""The map tool of a reroute: draws one line, its points snapped to pipes, with the advanced digitising panel."""

from __future__ import annotations

from qgis.core import QgsGeometry, QgsPointXY, QgsWkbTypes
from qgis.gui import QgsMapToolAdvancedDigitizing, QgsRubberBand, QgsSnapIndicator, QgsVertexMarker
from qgis.PyQt import sip
from qgis.PyQt.QtCore import Qt, pyqtSignal
from qgis.PyQt.QtGui import QColor

_LINE, _SNAPPED = QColor(120, 40, 120, 220), QColor(120, 40, 120)
_LINE_WIDE = 3


class RerouteTool(QgsMapToolAdvancedDigitizing):
    """`changed`: the points drawn so far, in the CRS of the map, and the one under the cursor or None.

    `finished`: the points. A right click or Enter ends the line, Backspace takes the last point back, Esc all of them.
    `snap(point)`: the place on a pipe near a point, or None.
    """

    changed = pyqtSignal(list, object)
    finished = pyqtSignal(list)

    def __init__(self, canvas, cad_dock, snap):
        super().__init__(canvas, cad_dock)
        self._snap, self._points = snap, []
        self._band = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.LineGeometry)
        self._band.setColor(_LINE)
        self._band.setWidth(_LINE_WIDE)
        self._on_pipe = QgsVertexMarker(canvas)
        self._on_pipe.setIconType(QgsVertexMarker.IconType.ICON_CIRCLE)
        self._on_pipe.setColor(_SNAPPED)
        self._on_pipe.setPenWidth(3)
        self._on_pipe.setIconSize(14)
        self._on_pipe.hide()
        self._indicator = QgsSnapIndicator(canvas)
        self.setCursor(Qt.CursorShape.CrossCursor)

    @property
    def points(self):
        return list(self._points)

    def show_line(self, points):
        """Draw a line that is not being drawn by hand; an empty list clears the map."""
        self._points = []
        self._band.setToGeometry(QgsGeometry.fromPolylineXY(points), None)

    def clear(self):
        self._points = []
        self._band.reset(QgsWkbTypes.GeometryType.LineGeometry)
        self._on_pipe.hide()

    def remove(self):
        """Take everything off the canvas for good."""
        for item in (self._band, self._on_pipe):
            self.canvas().scene().removeItem(item)
            sip.delete(item)

    def deactivate(self):
        self._on_pipe.hide()
        self._indicator.setMatch(type(self._indicator.match())())
        super().deactivate()

    def cadCanvasMoveEvent(self, event):
        here = self._place(event)
        self._indicator.setMatch(event.mapPointMatch())
        if self._points:
            self._band.setToGeometry(QgsGeometry.fromPolylineXY([*self._points, here]), None)
            self.changed.emit(self.points, here)

    def cadCanvasReleaseEvent(self, event):
        if event.button() == Qt.MouseButton.RightButton:
            self._finish()
        elif event.button() == Qt.MouseButton.LeftButton:
            here = self._place(event)
            if not self._points or here != self._points[-1]:
                self._points.append(here)
                self._band.setToGeometry(QgsGeometry.fromPolylineXY(self._points), None)
                self.changed.emit(self.points, None)

    def keyPressEvent(self, event):
        if event.key() == Qt.Key.Key_Backspace and self._points:
            self._points.pop()
            self._band.setToGeometry(QgsGeometry.fromPolylineXY(self._points), None)
            self.changed.emit(self.points, None)
            event.accept()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._finish()
            event.accept()
        elif event.key() == Qt.Key.Key_Escape:
            self.clear()
            self.changed.emit([], None)
            event.accept()
        else:
            super().keyPressEvent(event)

    def _finish(self):
        points, self._points = self._points, []
        self._on_pipe.hide()
        if len(points) > 1:
            self._band.setToGeometry(QgsGeometry.fromPolylineXY(points), None)
            self.finished.emit(points)
        else:
            self.clear()
            self.changed.emit([], None)

    def _place(self, event):
        """On a pipe where one is near, unless the digitising panel or QGIS's own snapping has put it elsewhere."""
        here = QgsPointXY(event.mapPoint())
        free = not event.isSnapped() and not _is_constrained(self.cadDockWidget())
        on_pipe = self._snap(here) if free else None
        self._on_pipe.setVisible(on_pipe is not None)
        if on_pipe is None:
            return here
        self._on_pipe.setCenter(on_pipe)
        return on_pipe


def _is_constrained(cad):
    """Whether the panel holds a distance, an angle or a coordinate."""
    if cad is None or not cad.cadEnabled():
        return False
    return any(one.isLocked() for one in (cad.constraintAngle(), cad.constraintDistance(), cad.constraintX(),
                                          cad.constraintY()))
