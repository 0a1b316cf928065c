"""Places of the map in the CRS and metres of the pipes, and back."""

from __future__ import annotations

from qgis.core import QgsCoordinateTransform, QgsCsException, QgsPointXY, QgsProject
from qgis.gui import QgsVertexMarker
from qgis.PyQt.QtGui import QColor

_STATION = QColor(120, 40, 120)


def station_marker(canvas):
    """A marker, hidden yet, for the place on the map that belongs to a station of the long section."""
    marker = QgsVertexMarker(canvas)
    marker.setIconType(QgsVertexMarker.IconType.ICON_DOUBLE_TRIANGLE)
    marker.setColor(_STATION)
    marker.setIconSize(18)
    marker.setPenWidth(2)
    marker.hide()
    return marker


class MapPlaces:
    """Asks `session` what is loaded and `canvas` how the map is drawn, each time anew."""

    def __init__(self, session, canvas):
        self._session, self._canvas = session, canvas

    def to_drains(self, point, backward=False):
        """A point of the map in the CRS of the drains, or the other way; None where that cannot be."""
        drains, map_crs = self._session.archive.drains.crs(), self._canvas.mapSettings().destinationCrs()
        if drains == map_crs:
            return point
        pair = (drains, map_crs) if backward else (map_crs, drains)
        try:
            return QgsCoordinateTransform(*pair, QgsProject.instance()).transform(point)
        except QgsCsException:
            return None

    def from_drains_to(self, layer):
        """The transform from the CRS of the drains into that of a layer."""
        return QgsCoordinateTransform(self._session.archive.drains.crs(), layer.crs(), QgsProject.instance())

    def to_metres(self, points):
        """Points of the map in metres of the plan, as an array (points, 2); None where one cannot be brought there."""
        import numpy as np

        moved = [self.to_drains(point) for point in points]
        if None in moved:
            return None
        return np.array([[point.x(), point.y()] for point in moved]) * self._session.loaded.unit_m

    def to_map(self, xy_m):
        """A place in metres of the plan as a point of the map; None where that cannot be."""
        size = self._session.loaded.unit_m
        return self.to_drains(QgsPointXY(xy_m[0] / size, xy_m[1] / size), backward=True)

    def line_on_map(self, xy_m):
        """Places in metres of the plan as points of the map; those that cannot be brought there are left out."""
        return [point for point in map(self.to_map, xy_m.tolist()) if point is not None]

    def segments_on_map(self, segments):
        """Rows x0, y0, x1, y1 in the CRS of the drains in that of the map; none where that cannot be."""
        drains, map_crs = self._session.archive.drains.crs(), self._canvas.mapSettings().destinationCrs()
        if drains == map_crs:
            return segments
        import numpy as np

        moved = QgsCoordinateTransform(drains, map_crs, QgsProject.instance()).transform
        try:
            points = [moved(QgsPointXY(x, y)) for x, y in segments.reshape(-1, 2).tolist()]
        except QgsCsException:
            points = []
        return np.array([(point.x(), point.y()) for point in points]).reshape(-1, 4)

    def pixels_m(self, count):
        """Metres of the plan that so many pixels are, measured in the middle of the map."""
        middle, step = self._canvas.center(), count * self._canvas.mapUnitsPerPixel()
        ends = [self.to_drains(QgsPointXY(middle.x() + east, middle.y())) for east in (0.0, step)]
        return 0.0 if None in ends else ends[0].distance(ends[1]) * self._session.loaded.unit_m

    def near(self, point, reach_m):
        """The place on a pipe nearest to a point of the map; None where there is none within reach."""
        from ..network.trace import NoPipeError, place_near

        loaded = self._session.loaded
        here = None if loaded is None else self.to_drains(point)
        if here is None:
            return None
        size = loaded.unit_m
        try:
            return place_near(loaded.county.network, (here.x() * size, here.y() * size), reach_m)
        except NoPipeError:
            return None

    def place_near(self, point, pixels):
        """The same within some pixels."""
        return None if self._session.loaded is None else self.near(point, self.pixels_m(pixels))

    def in_drains(self, place):
        """A place on a pipe as a point in the CRS of the drains."""
        return QgsPointXY(*(self._xy_m(place) / self._session.loaded.unit_m))

    def on_map(self, place):
        """A place on a pipe as a point of the map; None where that cannot be."""
        return self.to_map(self._xy_m(place))

    def on_pipe(self, point, pixels):
        """The point of the map on the pipe within some pixels of a point; None where there is none."""
        place = self.place_near(point, pixels)
        return None if place is None else self.on_map(place)

    def _xy_m(self, place):
        net = self._session.loaded.county.network
        return net.lines.points_at(net.pieces.line[[place.piece]], [place.at_m])[0]
