"""Writes down calls, readings and repairs: the first click says what, the second puts it on the map."""

from __future__ import annotations

import math
from datetime import datetime

from qgis.core import QgsCoordinateTransform, QgsCsException, QgsGeometry, QgsProject
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QCoreApplication
from qgis.PyQt.QtWidgets import (
    QFormLayout,
    QLabel,
    QLineEdit,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from ..answers.depth import said_understood
from ..answers.write_down import CALL, REPAIR, new_row, said_put
from ..length_text import read_length_m
from ..qgis_layer.archive_edit import user_name
from .buttons import push_button
from .depth_offer import DepthOffer
from .map_places import MapPlaces
from .open_call import OpenCallChoice
from .record_edit import RecordEditError, add_row
from .settings import CLICK_PIXELS
from .write_down_choices import Choices
from .write_down_tool import WriteDownTool


def tr(text):
    return QCoreApplication.translate("WriteDownPanel", text)


class WriteDownPanel(QWidget):
    """The map tool comes on with the first click, on what is to be put, and stays on for more of the same."""

    tool = None  # another map tool does not end it: one moves the map and goes on
    hint = "Press what you saw, found or did, then click its place on the map. It goes into the layer's edits: you " \
           "save it, or undo."

    def __init__(self, session, iface, parent=None):
        super().__init__(parent)
        self._session, self._iface, self._canvas = session, iface, iface.mapCanvas()
        self._places = MapPlaces(session, self._canvas)
        self._tool = WriteDownTool(self._canvas, self._snapped)
        self._tool.clicked.connect(self.put)
        self._tool.left.connect(self.leave)
        self._put = None  # layer and number of the row put last
        self._make_widgets()
        self._tool.deactivated.connect(self._choices.clear)
        session.changed.connect(self._archive_changed)
        self._archive_changed()

    @property
    def map_tool(self):
        return self._tool

    def start(self):
        self._choices.put_in_order()
        self._call.read()
        if self._choices.current is None:
            self._say(tr(self.hint))

    def stop(self):
        self._canvas.unsetMapTool(self._tool)
        self._choices.clear()
        self._forget()

    def leave(self):
        """Escape: nothing is put any more."""
        self._canvas.unsetMapTool(self._tool)

    def close_for_good(self):
        self.stop()
        self._call.close_for_good()
        self._tool.remove()

    def put(self, point):
        """Add the row of what is chosen at a point of the map; what was put, or why not, stands in the words."""
        choice = self._choices.current
        if choice is None or self._session.archive is None:
            return
        self._forget()
        try:
            depth_m = self._depth_m()
            self._add(choice, point, depth_m)
        except (RecordEditError, ValueError) as fault:
            self._say(str(fault))

    def open_form(self):
        """The layer's own form of the row put last; nothing is forced open."""
        if self._put is None or sip.isdeleted(self._put[0]):
            return
        layer, number = self._put
        row = layer.getFeature(number)
        if not row.isValid():
            self._say(tr("It is not there any more: it was undone, or saved under another number."))
            return
        self._iface.openFeatureForm(layer, row, False, False)

    def _add(self, choice, point, depth_m):
        layer = self._session.archive.layers.get(choice.layer)
        if layer is None:
            raise RecordEditError(tr("The project shows no layer '{}' of this archive: add it first.").format(
                choice.layer))
        place = self._place(choice, point)
        at = point if place is None else self._places.on_map(place) or point
        call = None if choice.name == CALL else self._call.chosen
        made = add_row(layer, self._in_layer(layer, at), new_row(
            choice, datetime.now(), user_name(), None if call is None else call.call_id, self._key(place),
            None if math.isnan(depth_m) else round(depth_m / self._length_m(), 4),
        ), choice.words)
        self._choices.used(choice)
        self._put = layer, made.id()
        self._form.setEnabled(True)
        if choice.name == CALL:
            self._call.want(str(made["call_id"]))
        self._tell_put(choice, place, call, layer, depth_m)

    def _tell_put(self, choice, place, call, layer, depth_m):
        said = [said_put(choice, self._said_place(place), call, layer.name(), self._unsaved_beside(layer),
                         len(self._call.calls))]
        if place is None and choice.on_pipe and choice.name != REPAIR:
            said.append(tr("No pipe was within reach of the click."))
        if not math.isnan(depth_m):
            said += self._said_depth(choice, place, depth_m)
            self._depth.clear()
        self._say("\n\n".join(said))

    def _said_depth(self, choice, place, depth_m):
        if not choice.depth_of:
            return [tr("'{}' takes no depth, so it was not written.").format(choice.words)]
        if choice.depth_of == "pipe_top" and place is not None:
            return self._offer.offer(place, depth_m)
        return []

    def _place(self, choice, point):
        """The place on a pipe it is put at, or None."""
        return self._places.place_near(point, CLICK_PIXELS.value) if choice.on_pipe else None

    def _snapped(self, point):
        choice = self._choices.current
        place = None if choice is None else self._place(choice, point)
        return None if place is None else self._places.on_map(place)

    def _in_layer(self, layer, point):
        move = QgsCoordinateTransform(self._canvas.mapSettings().destinationCrs(), layer.crs(), QgsProject.instance())
        try:
            return QgsGeometry.fromPointXY(move.transform(point))
        except QgsCsException:
            raise RecordEditError(tr("This place of the map has none in the layer '{}': zoom to the pipes.").format(
                layer.name())) from None

    def _key(self, place):
        if place is None:
            return None
        net = self._session.loaded.county.network
        return str(net.drains.drain_id[int(net.piece_drain[place.piece])])

    def _said_place(self, place):
        if place is None:
            return ""
        from ..answers.pipe import said_place
        from ..answers.trace import trace_from

        county = self._session.loaded.county
        return f"{tr('on')} {said_place(county, place, trace_from(county, place).below.length_m)}"

    def _unsaved_beside(self, layer):
        """Names of further layers of the archive with edits."""
        layers = self._session.archive.layers.values()
        return sorted(one.name() for one in layers if one is not layer and one.isEditable() and one.isModified())

    def _units(self):
        """Those of the archive; None before it was read."""
        loaded = self._session.loaded
        return None if loaded is None else loaded.county.units

    def _length_m(self):
        return self._units().length_m

    def _depth_m(self):
        """NaN where none is typed; ValueError with a sentence."""
        text = self._depth.text()
        if not text.strip():
            return math.nan
        if self._units() is None:
            raise ValueError(tr("The pipes are not read yet, so the unit of the depth is not known. Wait a moment."))
        return read_length_m(text, self._units())

    def _show_understood(self):
        try:
            depth_m = self._depth_m()
            said = "" if math.isnan(depth_m) else said_understood(
                depth_m, self._units(), self._session.loaded.county.limits)
        except ValueError as fault:
            said = str(fault)
        self._understood.setText(said)
        self._understood.setVisible(bool(said))

    def _choose(self):
        """The first click: the tool comes on."""
        if self._canvas.mapTool() is not self._tool:
            self._canvas.setMapTool(self._tool)
        choice = self._choices.current
        self._say(tr("Now click the place on the map: {}.").format(choice.words)
                  + (" " + tr("Near a pipe it goes onto the pipe.") if choice.on_pipe else ""))

    def _archive_changed(self):
        if self._session.archive is None:
            self._forget()
        units = self._units()
        unit = "ft" if units is None else units.length_name
        self._label.setText(tr("Dep&th, from the ground down ({})").format(unit))
        self._show_understood()

    def _forget(self):
        self._put = None
        self._form.setEnabled(False)
        self._offer.clear()

    def _say(self, words):
        self._text.setPlainText(words)

    def _make_widgets(self):
        self._call = OpenCallChoice(self._session)
        self._call.told.connect(self._say)
        self._choices = Choices()
        self._choices.chosen.connect(self._choose)
        self._depth = QLineEdit()
        self._depth.setPlaceholderText("3' 4\"   40 in   3.33   1.02 m")
        self._depth.setToolTip(tr("To the top of the pipe, or to the water, as you measure it. It goes with the next "
                                  "reading you put."))
        self._depth.textChanged.connect(self._show_understood)
        self._label, self._understood = QLabel(), QLabel()
        self._label.setBuddy(self._depth)
        self._understood.setWordWrap(True)
        self._text = QTextBrowser()
        self._form = push_button(tr("Open its &form"), tr("All fields of what was put last."), self.open_form)
        self._offer = DepthOffer(self._session, self._canvas)
        self._offer.told.connect(lambda said: self._text.append(f"\n{said}"))
        figures = QFormLayout()
        figures.addRow(self._label, self._depth)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._call)
        column.addWidget(self._choices)
        column.addLayout(figures)
        for widget in (self._understood, self._text, self._offer, self._form):
            column.addWidget(widget, 1 if widget is self._text else 0)
