"""Settles whether pipes join at a place: a structure of kind joint, in one edit that is not saved and can be undone."""

from __future__ import annotations

from qgis.core import (
    QgsCoordinateTransform,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsVectorLayerUtils,
    QgsWkbTypes,
)
from qgis.gui import QgsRubberBand
from qgis.PyQt import sip
from qgis.PyQt.QtGui import QColor
from qgis.PyQt.QtWidgets import QHBoxLayout, QLabel, QVBoxLayout, QWidget

from .buttons import push_button
from .counted import counted
from .record_edit import RecordEditError, add_rows

SETTLED = ("proposed-joint", "crossing-not-joined")
"""Checks whose findings a joint settles, be it made or disproved."""

_RING, _RING_WIDE = QColor(120, 40, 120), 3


def tr(text, count=-1):
    return counted("JointFix", text, count)


class JointFix(QWidget):
    """Shown while findings are chosen that a joint settles; their places are ringed on the map before anything is done.
    """

    def __init__(self, session, canvas, parent=None):
        super().__init__(parent)
        self._session, self._canvas, self._places = session, canvas, []
        self._rings = QgsRubberBand(canvas, QgsWkbTypes.GeometryType.PointGeometry)
        self._rings.setColor(_RING)
        self._rings.setFillColor(QColor(0, 0, 0, 0))
        self._rings.setIcon(QgsRubberBand.IconType.ICON_CIRCLE)
        self._rings.setIconSize(16)
        self._rings.setWidth(_RING_WIDE)
        self._words = QLabel()
        self._words.setWordWrap(True)
        self._join = push_button(tr("They &join"), tr(
            "Put a joint (drawn on a map) at each ringed place: the pipes count as joined there."),
            lambda: self.settle("drawn"))
        self._apart = push_button(tr("They do &not"), tr(
            "Put a disproved joint at each ringed place: it is not proposed again."), lambda: self.settle("disproved"))
        row = QHBoxLayout()
        for button in (self._join, self._apart):
            row.addWidget(button)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._words)
        column.addLayout(row)
        self.offer([])

    def offer(self, shapes):
        """Points in metres of the plan at which pipes may join; none: nothing to settle."""
        size = 1.0 if self._session.loaded is None else self._session.loaded.unit_m
        self._places = [QgsPointXY(shape.x / size, shape.y / size) for shape in shapes]
        self._rings.reset(QgsWkbTypes.GeometryType.PointGeometry)
        if self._places:
            self._rings.setToGeometry(QgsGeometry.fromMultiPointXY(self._places), self._session.archive.drains)
            self._words.setText(tr("Do the pipes join at the %n ringed place(s)?", len(self._places)))
        self._enable(bool(self._places))
        self.setVisible(bool(self._places))

    def settle(self, evidence):
        """Write a joint of this evidence at each place; what was done, or why not, stands in the words."""
        structures = self._session.archive.layers.get("structures")
        if structures is None:
            self._words.setText(tr("The project shows no layer of structures of this archive: add it first."))
            return
        move = QgsCoordinateTransform(self._session.archive.drains.crs(), structures.crs(), QgsProject.instance())
        fields = structures.fields()
        values = {fields.lookupField("kind"): "joint", fields.lookupField("evidence"): evidence}
        data = [QgsVectorLayerUtils.QgsFeatureData(QgsGeometry.fromPointXY(move.transform(place)), values)
                for place in self._places]
        try:
            add_rows(structures, data, tr("Joints settled"))
        except RecordEditError as fault:
            self._words.setText(str(fault))
            return
        count = len(self._places)
        self._enable(False)
        self._words.setText(tr("%n place(s) settled, not saved yet: save the layer '{}', or undo.", count).format(
            structures.name()))

    def close_for_good(self):
        self._canvas.scene().removeItem(self._rings)
        sip.delete(self._rings)

    def _enable(self, on):
        for button in (self._join, self._apart):
            button.setEnabled(on)
