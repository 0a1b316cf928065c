"""The call that what is written down belongs to: chosen among those open, taken one step on with one click."""

from __future__ import annotations

from datetime import datetime

from qgis.core import QgsFeatureRequest
from qgis.PyQt import sip
from qgis.PyQt.QtCore import Qt, QTimer, pyqtSignal
from qgis.PyQt.QtWidgets import QComboBox, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from ..answers.write_down import DUG, chosen_call, next_step, open_calls
from ..qgis_layer.row_values import as_iso
from .buttons import push_button
from .counted import counted
from .record_edit import RecordEditError, change_row

_ASKED = ("call_id", "received_on", "caller", "about", "status")


def tr(text, count=-1):
    return counted("OpenCall", text, count)


class OpenCallChoice(QWidget):
    """Follows the layer of calls of the archive in `session`. `told`: a sentence about what was done, or why not."""

    told = pyqtSignal(str)

    def __init__(self, session, parent=None):
        super().__init__(parent)
        self._session, self._layer, self._wanted = session, None, None
        self.calls = []
        self._soon = QTimer(self)  # many rows may change at one go
        self._soon.setSingleShot(True)
        self._soon.setInterval(0)
        self._soon.timeout.connect(self.read)
        self._make_widgets()
        session.changed.connect(self._follow)
        self._follow()

    @property
    def chosen(self):
        """The open call; None: none is open, or nobody said which."""
        return chosen_call(self.calls, self._wanted)

    def want(self, call_id):
        """Take this call, if it is open."""
        self._wanted = call_id
        self.read()

    def read(self):
        """Which calls are open now, those not saved too."""
        rows = []
        if self._layer is not None and not sip.isdeleted(self._layer):
            request = QgsFeatureRequest().setFlags(QgsFeatureRequest.Flag.NoGeometry)
            request.setFilterExpression("coalesce(\"status\", 'open') <> 'closed'")
            found = self._layer.getFeatures(request)
            rows = [(row.id(), {name: as_iso(row[name]) for name in _ASKED}) for row in found]
        self.calls = open_calls(rows)
        self._show()

    def step(self):
        """Open becomes dug, dug becomes closed: one edit, not saved."""
        call = self.chosen
        if call is None:
            return
        row = self._layer.getFeature(call.number)
        words = tr("Call dug") if call.next_status == DUG else tr("Call closed")
        try:
            change_row(self._layer, call.number, next_step(call, datetime.now(), as_iso(row["done_on"])), words)
        except RecordEditError as fault:
            self.told.emit(str(fault))
            return
        self.read()
        self.told.emit(tr("{}: {}. Not saved yet: save the layer '{}', or undo. {}").format(
            words, call.words, self._layer.name(), tr("%n call(s) open.", len(self.calls))))

    def close_for_good(self):
        self._soon.stop()
        self._let_go()

    def _follow(self):
        archive = self._session.archive
        layer = None if archive is None else archive.layers.get("calls")
        if layer is self._layer:
            return
        self._let_go()
        self._layer, self._wanted = layer, None
        if layer is not None:
            for signal in self._signals():
                signal.connect(self._later)
        self.read()

    def _let_go(self):
        if self._layer is not None and not sip.isdeleted(self._layer):  # else its signals are gone with it
            for signal in self._signals():
                signal.disconnect(self._later)
        self._layer = None

    def _signals(self):
        layer = self._layer
        return (layer.featureAdded, layer.featureDeleted, layer.attributeValueChanged, layer.dataChanged,
                layer.afterCommitChanges, layer.afterRollBack)

    def _later(self, *_):
        self._soon.start()

    def _show(self):
        self._box.clear()
        chosen = self.chosen
        if not self.calls:
            none = tr("No call is open: what you put belongs to none")
            if self._layer is None:
                none = tr("The project shows no layer of calls of this archive")
            self._box.addItem(none, None)
        elif len(self.calls) > 1:
            self._box.addItem(tr("%n calls are open: choose one, or none", len(self.calls)), None)
        for call in self.calls:
            self._box.addItem(call.words, call.call_id)
            self._box.setItemData(self._box.count() - 1, call.words, Qt.ItemDataRole.ToolTipRole)
        self._box.setCurrentIndex(max(self._box.findData(chosen.call_id), 0) if chosen is not None else 0)
        self._show_step()

    def _show_step(self):
        chosen = self.chosen
        self._step.setEnabled(chosen is not None)
        closes = chosen is not None and chosen.next_status != DUG
        self._step.setText(tr("C&lose it") if closes else tr("It is &dug"))

    def _choose(self, index):
        self._wanted = self._box.itemData(index)
        self._show_step()

    def _make_widgets(self):
        label = QLabel(tr("&Belongs to the call"))
        self._box = QComboBox()
        self._box.setToolTip(tr("Readings and repairs that you put carry the key of this call."))
        self._box.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._box.activated.connect(self._choose)
        label.setBuddy(self._box)
        self._step = push_button("", tr(
            "Take the call one step on: open, dug, closed. One edit that you save, or undo."), self.step)
        row = QHBoxLayout()
        row.addWidget(self._box, 1)
        row.addWidget(self._step)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(label)
        column.addLayout(row)
