"""What a depth that was put on a pipe would give: a level shot, or the depth of the pipe's end; written on a click."""

from __future__ import annotations

import math
from datetime import date

from qgis.core import QgsGeometry, QgsProject
from qgis.PyQt.QtCore import QCoreApplication, pyqtSignal
from qgis.PyQt.QtWidgets import QHBoxLayout, QWidget

from ..answers.depth import measured, said_depth
from .buttons import push_button
from .map_places import MapPlaces
from .record_edit import RecordEditError, add_row, change_row
from .settings import CLICK_PIXELS


def tr(text):
    return QCoreApplication.translate("DepthOffer", text)


class DepthOffer(QWidget):
    """Shown while there is something to offer. `told`: a sentence about what was written, or why not."""

    told = pyqtSignal(str)

    def __init__(self, session, canvas, parent=None):
        super().__init__(parent)
        self._session, self._places = session, MapPlaces(session, canvas)
        self._found = self._at = self._drain = None
        self._end = ""
        self._shot = push_button(tr("Keep as le&vel shot"), tr(
            "Add a shot of the top of the pipe, with its error, to the level shots."), self.keep_shot)
        self._set_end = push_button("", tr(
            "Write the depth from the ground to the invert into the pipe's end that lies here."), self.set_end)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self._shot)
        row.addWidget(self._set_end)
        self.clear()

    def clear(self):
        self._found = self._at = self._drain = None
        self._end = ""
        self.hide()

    def offer(self, place, depth_m):
        """A depth to the top of the pipe at a place on it; gives the sentences that say what follows."""
        loaded = self._session.loaded
        county, net = loaded.county, loaded.county.network
        row = int(net.piece_drain[place.piece])
        self._at = self._places.in_drains(place)
        ground_m, ground = self._ground()
        self._found = measured(depth_m, float(net.drains.diameter_m[row]), ground_m, county.limits)
        self._drain = self._feature(str(net.drains.drain_id[row]))
        self._end = "" if self._drain is None else self._end_here()
        sized = math.isfinite(self._found.invert_depth_m)
        self._shot.setVisible(math.isfinite(ground_m) and "shots" in self._session.archive.layers)
        starts = self._end == "depth_start"
        self._set_end.setText(tr("Set depth at its &start") if starts else tr("Set depth at its &end"))
        self._set_end.setVisible(bool(self._end) and sized)
        self._enable(True)
        self.setVisible(not self._shot.isHidden() or not self._set_end.isHidden())
        return said_depth(self._found, county.units, ground)

    def keep_shot(self):
        """A level shot of the top of the pipe, which needs neither its size nor its wall."""
        layers, units = self._session.archive.layers, self._session.loaded.county.units
        shots, size = layers["shots"], units.length_m
        figures = {"elevation": self._found.pipe_top_m, "error": self._found.elevation_error_m}
        values = {
            "drain_id": None if self._drain is None else self._drain["drain_id"], "of": "pipe_top",
            "taken_on": date.today().isoformat(), **{name: round(value / size, 3) for name, value in figures.items()},
        }
        shape = QgsGeometry.fromPointXY(self._at)
        shape.transform(self._places.from_drains_to(shots))
        self._write(self._shot, shots, tr("Level shot"), lambda words: add_row(shots, shape, values, words))

    def set_end(self):
        """The depth to the invert at the end of the pipe that lies here."""
        drains, size = self._session.archive.drains, self._session.loaded.county.units.length_m
        values = {self._end: round(self._found.invert_depth_m / size, 3)}
        self._write(self._set_end, drains, tr("Depth of a pipe's end"),
                    lambda words: change_row(drains, self._drain.id(), values, words))

    def _write(self, button, layer, words, act):
        try:
            act(words)
        except RecordEditError as fault:
            self.told.emit(str(fault))
            return
        button.setEnabled(False)
        self.told.emit(tr("{} written. Not saved yet: save the layer '{}', or undo.").format(words, layer.name()))

    def _ground(self):
        """Height of the ground here in metres, NaN where it is not known, and the name of its raster."""
        import numpy as np

        from ..qgis_layer.ground import RasterGround
        from ..qgis_layer.raster import RasterError
        from ..qgis_layer.read import Frame

        layer, loaded = self._session.ground_layer(), self._session.loaded
        if layer is None:
            return math.nan, ""
        frame = Frame(self._session.archive.drains.crs(), QgsProject.instance().transformContext(), loaded.county.units)
        try:
            sampler = RasterGround(layer, frame)
            height_m = sampler(*(np.array([value * loaded.unit_m]) for value in (self._at.x(), self._at.y())))
        except RasterError:
            return math.nan, layer.name()
        return float(height_m[0]), layer.name()

    def _feature(self, key):
        """The drain as it is in the layer now, None where it is gone."""
        from ..qgis_layer.drawn_lines import KEY, rows_with

        return next(iter(rows_with(self._session.archive.drains, KEY, key)), None)

    def _end_here(self):
        """The field of the end of the drain that lies within a click's reach; '' where none does, or both."""
        line, reach = self._drain.geometry(), self._places.pixels_m(CLICK_PIXELS.value) / self._session.loaded.unit_m
        vertices = list(line.vertices())
        if not vertices:
            return ""
        near = [name for name, vertex in (("depth_start", vertices[0]), ("depth_end", vertices[-1]))
                if self._at.distance(vertex.x(), vertex.y()) <= reach]
        return near[0] if len(near) == 1 else ""

    def _enable(self, on):
        for button in (self._shot, self._set_end):
            button.setEnabled(on)
