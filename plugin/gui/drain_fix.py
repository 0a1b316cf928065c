"""Turns or cuts the pipes of findings: shown on the map and in words first, one edit that can be undone, not saved."""

from __future__ import annotations

from qgis.core import QgsGeometry, QgsPointXY, QgsWkbTypes
from qgis.gui import QgsRubberBand
from qgis.PyQt import sip
from qgis.PyQt.QtGui import QColor
from qgis.PyQt.QtWidgets import QCheckBox, QDoubleSpinBox, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from .buttons import push_button
from .counted import counted
from .highlight import FlowArrows

AGAINST = "against-drawing"
"""The check whose findings may be turned all at once."""

_RING, _NOW, _AFTER = QColor(120, 40, 120), QColor(225, 225, 225), QColor(214, 96, 0)
_EDGE, _ARROW_PIXELS = QColor(20, 20, 20), 14.0  # to be seen on a main
_MOST_DRAWN = 500  # lines with arrows


def tr(text, count=-1):
    return counted("DrainFix", text, count)


class DrainFix(QWidget):
    """Shown while a finding on a pipe is chosen, or all pipes that are drawn against their flow."""

    def __init__(self, session, canvas, parent=None):
        super().__init__(parent)
        self._session, self._canvas = session, canvas
        self._mender, self._numbers, self._drawn = None, [], []
        self._make_marks()
        self._open = QCheckBox(tr("&Mend the drawing"))
        self._open.setToolTip(tr("Turn or cut the drawn line; what would change is shown first."))
        self._open.toggled.connect(self._preview)
        self._words, self._cut_words = QLabel(), QLabel()
        for words in (self._words, self._cut_words):
            words.setWordWrap(True)
        self._turn = push_button(tr("T&urn"), tr("Turn the drawn line; inverts and depths stay at their places."),
                                 self.turn)
        self._at = QDoubleSpinBox()
        self._at.setDecimals(1)
        self._at.setToolTip(tr("Where to cut, from the start of the drawn line."))
        self._at.valueChanged.connect(self._preview_cut)
        self._cut = push_button(tr("C&ut here"), tr("Cut the line at the ring; what lies between known figures is put "
                                                   "there and marked as assumed."), self.cut)
        self._lay_out()
        self.offer(None, None, [])

    def offer(self, view, check, rows):
        """Findings chosen: rows of a FindingsView, all of one check; none: nothing to mend."""
        drains = [] if view is None else sorted({int(view.findings.drain[row]) for row in rows} - {-1})
        if len(rows) != 1 and check != AGAINST:
            drains = []
        loaded = self._session.loaded
        self._numbers = [int(loaded.numbers[drain]) for drain in drains] if loaded is not None else []
        self._at_m = view.place_on_drain_m(rows[0]) if self._numbers and len(rows) == 1 else None
        self.setVisible(bool(self._numbers))
        self._preview()

    def turn(self):
        """Turn the pipes chosen."""
        self._do(lambda: self._mender.flip(self._numbers))

    def cut(self):
        """Cut the one pipe chosen at the place of the ring."""
        self._do(lambda: self._mender.split(self._numbers[0], self._at.value() * self._mender.scale.unit))

    def close_for_good(self):
        for item in (self._ring, self._now, self._after):
            self._canvas.scene().removeItem(item)
            sip.delete(item)

    def _do(self, make):
        from ..drain_edits.cut import CutError
        from ..qgis_layer.mend_lines import MendError

        try:
            plan = make()
            more = self._mender.apply(plan)
        except (CutError, MendError) as fault:
            self._words.setText(str(fault))
            return
        self._clear_marks()
        self._enable(False)
        self._cut_words.clear()
        done = tr("%n row(s) written, not saved yet: save the layer '{}', or undo.", len(plan.changes))
        self._words.setText(" ".join([done.format(self._mender.drains.name()), *more]))

    def _preview(self, *_):
        """What turning and cutting would do, on the map and in words; nothing while it is closed."""
        self._clear_marks()
        is_open = self._open.isChecked() and bool(self._numbers)
        for widget in (self._words, self._cut_words, self._turn, self._at, self._cut):
            widget.setVisible(is_open)
        if not is_open:
            return
        from ..drain_edits.words import change_words
        from ..qgis_layer.mend_lines import LineMender, MendError

        self._mender = LineMender(self._session.archive.layers)
        try:
            plan = self._mender.flip(self._numbers)
        except MendError as fault:
            self._enable(False)
            self._words.setText(str(fault))
            return
        self._enable(True)
        self._show_arrows(plan)
        one = len(plan.changes) == 1
        self._turn.setText(tr("T&urn") if one else tr("T&urn all {:,}").format(len(plan.changes)))
        change, name = plan.changes[0], self._mender.units.length_name
        figures = "; ".join(change_words(change.before.row, change.after.row, name)) if one else ""
        self._words.setText(tr("Turn: pale arrow as drawn now, orange as turned. {}").format(
            figures or tr("Figures of start and end change places with the line.")))
        for widget in (self._at, self._cut, self._cut_words):
            widget.setVisible(one)
        if one:
            self._offer_cut(plan.changes[0].before)

    def _offer_cut(self, drawn):
        unit, length_m = self._mender.scale.unit, self._mender.units.length_m
        length = drawn.way.length / unit
        self._at.blockSignals(True)
        self._at.setRange(0.0, length)
        self._at.setSuffix(f" {self._mender.units.length_name}")
        self._at.setValue(length / 2 if self._at_m is None else self._at_m / length_m)
        self._at.blockSignals(False)
        self._preview_cut()

    def _preview_cut(self, *_):
        from ..drain_edits.cut import CutError
        from ..drain_edits.words import new_end_words
        from ..qgis_layer.mend_lines import MendError

        self._ring.reset(QgsWkbTypes.GeometryType.PointGeometry)
        try:
            plan = self._mender.split(self._numbers[0], self._at.value() * self._mender.scale.unit)
        except (CutError, MendError) as fault:
            self._cut.setEnabled(False)
            self._cut_words.setText(str(fault))
            return
        self._cut.setEnabled(True)
        first, second = (change.after for change in plan.changes)
        self._ring.setToGeometry(QgsGeometry.fromPointXY(QgsPointXY(*first.places[-1][:2])), self._mender.drains)
        self._cut_words.setText(tr("Cut at the ring: {}").format(new_end_words(
            first, second, self._mender.units.length_name)))

    def _show_arrows(self, plan):
        """Pale heads as the lines are drawn, orange ones as they would be, on either side of the middle."""
        import numpy as np

        now, after = [], []
        for change in plan.changes[:_MOST_DRAWN]:
            way = change.before.way
            for shares, found in (((0.28, 0.32), now), ((0.72, 0.68), after)):
                ends = [self._on_map(way.place(share * way.length)) for share in shares]
                found.append([ends[0].x(), ends[0].y(), ends[1].x(), ends[1].y()])
        self._now.set_segments(np.array(now))
        self._after.set_segments(np.array(after))

    def _on_map(self, place):
        return self._canvas.mapSettings().layerToMapCoordinates(self._mender.drains, QgsPointXY(*place[:2]))

    def _make_marks(self):
        self._ring = QgsRubberBand(self._canvas, QgsWkbTypes.GeometryType.PointGeometry)
        self._ring.setColor(_RING)
        self._ring.setFillColor(QColor(0, 0, 0, 0))
        self._ring.setIcon(QgsRubberBand.IconType.ICON_CIRCLE)
        self._ring.setIconSize(16)
        self._ring.setWidth(3)
        self._now, self._after = (FlowArrows(self._canvas, colour, _EDGE, _ARROW_PIXELS) for colour in (_NOW, _AFTER))

    def _clear_marks(self):
        self._ring.reset(QgsWkbTypes.GeometryType.PointGeometry)
        self._now.set_segments(())
        self._after.set_segments(())

    def _enable(self, on):
        for widget in (self._turn, self._at, self._cut):
            widget.setEnabled(on)

    def _lay_out(self):
        row = QHBoxLayout()
        for widget in (self._turn, self._at, self._cut):
            row.addWidget(widget)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        for widget in (self._open, self._words, self._cut_words):
            column.addWidget(widget)
        column.addLayout(row)
