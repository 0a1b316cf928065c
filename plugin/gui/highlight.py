"""Pipes shown on top of the map: above a place in a broad full line, the way down dashed, with arrows of flow."""

from __future__ import annotations

from qgis.core import QgsGeometry, QgsPointXY, QgsRectangle, QgsWkbTypes
from qgis.gui import QgsMapCanvasItem, QgsRubberBand, QgsVertexMarker
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QPointF, Qt
from qgis.PyQt.QtGui import QColor, QPen, QPolygonF

from .settings import LINE_WIDTH

_ABOVE, _BELOW, _PLACE = QColor(214, 96, 0), QColor(20, 70, 130), QColor(20, 20, 20)
_CASING = QColor(255, 255, 255)
_ARROW_PIXELS, _APART_PIXELS = 8.0, 70.0


class Highlight:
    """Everything drawn for one answer."""

    def __init__(self, canvas):
        self._canvas = canvas
        self._above = self._band(_ABOVE, Qt.PenStyle.SolidLine)
        self._below = self._band(_BELOW, Qt.PenStyle.DashLine)
        self._below.setSecondaryStrokeColor(_CASING)  # so that dashes stand out from the pipe they lie on, in grey too
        self._place = QgsVertexMarker(canvas)
        self._place.setIconType(QgsVertexMarker.IconType.ICON_X)
        self._place.setIconSize(16)
        self._place.setPenWidth(3)
        self._place.setColor(_PLACE)
        self._place.hide()
        self._arrows = FlowArrows(canvas)

    def show(self, above, below, place, arrows, drains):
        """`above`, `below`: geometries in the CRS of the layer `drains`; `place` a point, `arrows` rows x0, y0,
        x1, y1 along the flow, both in that of the map."""
        self._above.setWidth(LINE_WIDTH.value)
        self._below.setWidth(max(LINE_WIDTH.value - 1, 2))
        self._above.setToGeometry(above, drains)
        self._below.setToGeometry(below, drains)
        if place is not None:
            self._place.setCenter(place)
            self._place.show()
        self._arrows.set_segments(arrows)

    def extent(self):
        """The part of the map that the answer takes up."""
        box = QgsRectangle(self._above.asGeometry().boundingBox())
        box.combineExtentWith(self._below.asGeometry().boundingBox())
        return box

    def clear(self):
        self._above.reset(QgsWkbTypes.GeometryType.LineGeometry)
        self._below.reset(QgsWkbTypes.GeometryType.LineGeometry)
        self._place.hide()
        self._arrows.set_segments(())

    def remove(self):
        """Take the items off the canvas for good."""
        for item in self._items:
            self._canvas.scene().removeItem(item)
            sip.delete(item)

    @property
    def _items(self):
        return self._above, self._below, self._place, self._arrows

    def _band(self, colour, style):
        band = QgsRubberBand(self._canvas, QgsWkbTypes.GeometryType.LineGeometry)
        band.setColor(colour)
        band.setLineStyle(style)
        return band


class FlowArrows(QgsMapCanvasItem):
    """Arrow heads along pipes, no more than are apart on the screen; `edge` is the colour around them."""

    def __init__(self, canvas, colour=_PLACE, edge=_CASING, pixels=_ARROW_PIXELS):
        super().__init__(canvas)
        self._canvas, self._colour, self._edge, self._pixels = canvas, colour, edge, pixels
        self._segments = ()
        self.setZValue(20)

    def set_segments(self, segments):
        self._segments = segments
        self.updatePosition()
        self.update()

    def updatePosition(self):
        """The item covers the canvas: heads are placed anew whenever the map moves."""
        self.setRect(QgsRectangle(self._canvas.extent()))

    def paint(self, painter, option=None, widget=None):
        painter.setPen(QPen(self._edge, 1.0))
        painter.setBrush(self._colour)
        for x0, y0, x1, y1 in self._shown() if len(self._segments) else ():
            at = self.toCanvasCoordinates(QgsPointXY((x0 + x1) / 2, (y0 + y1) / 2)) - self.pos()
            painter.drawPolygon(self._head(at, QgsPointXY(x0, y0), QgsPointXY(x1, y1)))

    def _shown(self):
        """One segment for every square of the map of some pixels."""
        import numpy as np

        extent, apart = self._canvas.extent(), _APART_PIXELS * self._canvas.mapUnitsPerPixel()
        low = np.array([extent.xMinimum(), extent.yMinimum()])
        middle = (self._segments[:, :2] + self._segments[:, 2:]) / 2
        inside = np.flatnonzero(((middle >= low) & (middle <= [extent.xMaximum(), extent.yMaximum()])).all(axis=1))
        cell = ((middle[inside] - low) // apart).astype(np.int64)
        first = np.unique(cell, axis=0, return_index=True)[1]
        return self._segments[inside[first]].tolist()

    def _head(self, at, begin, end):
        way = self.toCanvasCoordinates(end) - self.toCanvasCoordinates(begin)
        length = max((way.x() ** 2 + way.y() ** 2) ** 0.5, 1e-9)
        x, y = way.x() / length * self._pixels, way.y() / length * self._pixels
        return QPolygonF([
            QPointF(at.x() + x, at.y() + y),
            QPointF(at.x() - x / 2 - 0.6 * y, at.y() - y / 2 + 0.6 * x),
            QPointF(at.x() - x / 2 + 0.6 * y, at.y() - y / 2 - 0.6 * x),
        ])


def lines_of(shapes, size, merged=False):
    """One geometry of many lines, in units of the CRS; `merged`: so that dashes run on from line to line."""
    import shapely

    geometry = QgsGeometry()
    whole = shapely.multilinestrings(shapes)
    if merged:
        whole = shapely.line_merge(whole)
    if size != 1.0:
        whole = shapely.transform(whole, lambda xy: xy / size)
    geometry.fromWkb(shapely.to_wkb(whole, output_dimension=2))
    return geometry
