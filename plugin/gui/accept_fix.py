"""Accepts findings with a reason, or takes that back: rows of the table `accepted`, in one edit that is not saved."""

from __future__ import annotations

from qgis.core import QgsGeometry, QgsVectorLayerUtils
from qgis.PyQt.QtCore import QDateTime
from qgis.PyQt.QtWidgets import QHBoxLayout, QLabel, QLineEdit, QVBoxLayout, QWidget

from ..qgis_layer.accepted import NAME
from ..qgis_layer.archive_edit import user_name
from .buttons import push_button
from .counted import counted
from .record_edit import RecordEditError, add_rows, delete_rows


def tr(text, count=-1):
    return counted("AcceptFix", text, count)


class AcceptFix(QWidget):
    """Shown while findings are chosen; asks for the reason here, not in a box of its own."""

    def __init__(self, session, parent=None):
        super().__init__(parent)
        self._session, self._view, self._rows = session, None, []
        self._words, self._reason = QLabel(), QLineEdit()
        self._words.setWordWrap(True)
        self._reason.setPlaceholderText(tr("Why may it stand? One line, for whoever reads it in years"))
        self._begin = push_button(tr("Accept\u2026"), tr("Let what is chosen stand, with a reason."), self.begin)
        self._accept = push_button(tr("&Accept"), tr("Write it down with your name and today's date."), self.accept)
        self._leave = push_button(tr("&Leave"), tr("Accept nothing."), self._show)
        self._back = push_button(tr("Take &back"), tr("It is a finding like any other again."), self.take_back)
        self._reason.textChanged.connect(lambda text: self._accept.setEnabled(bool(text.strip())))
        self._reason.returnPressed.connect(self.accept)
        row = QHBoxLayout()
        for widget in (self._begin, self._reason, self._accept, self._leave, self._back):
            row.addWidget(widget)
        row.addStretch()
        row.setStretchFactor(self._reason, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._words)
        column.addLayout(row)
        self.offer(None, [])

    def offer(self, view, rows):
        """Findings (rows of a FindingsView), all of them accepted or none; no rows: nothing to decide."""
        self._view, self._rows = view, list(rows)
        self._show()

    def begin(self):
        """Ask for the reason."""
        self._show(tr("Accept %n finding(s): why?", len(self._rows)), asking=True)
        self._reason.clear()
        self._reason.setFocus()

    def accept(self):
        """Add a row for each finding chosen."""
        reason = self._reason.text().strip()
        layer = self._table() if reason else None
        if layer is None:
            return
        from ..answers.accept import rows_to_accept

        fields = layer.fields()
        who = {"reason": reason, "accepted_by": user_name(), "accepted_on": QDateTime.currentDateTime()}
        data = [
            QgsVectorLayerUtils.QgsFeatureData(
                QgsGeometry(), {fields.lookupField(name): value for name, value in {**row, **who}.items()})
            for row in rows_to_accept(self._view.case, self._view.findings, self._rows)
        ]
        try:
            add_rows(layer, data, tr("Findings accepted"))
        except RecordEditError as fault:
            self._done(str(fault))
            return
        self._done(tr("%n finding(s) accepted, not saved yet: save the layer '{}', or undo.", len(data)).format(
            layer.name()))

    def take_back(self):
        """Delete the rows that speak of the findings chosen."""
        layer = self._table()
        if layer is None:
            return
        stands = self._view.standing
        numbers = sorted({int(stands.rows.number[stands.row[row]]) for row in self._rows})
        try:
            delete_rows(layer, numbers, tr("Accepted findings taken back"))
        except RecordEditError as fault:
            self._done(str(fault))
            return
        self._done(tr("%n finding(s) taken back, not saved yet: save the layer '{}', or undo.", len(self._rows)).format(
            layer.name()))

    def _table(self):
        """The layer of the table; None, and what to do, where the project shows none."""
        layer = self._session.archive.layers.get(NAME)
        if layer is None:
            self._done(tr("The project does not show the table of accepted findings of this archive: add the layer "
                          "'accepted' from where the drains lie, then check and accept again."))
        return layer

    def _done(self, words):
        """Nothing is chosen any more; the words stay until something is."""
        self._rows = []
        self._show(words)

    def _show(self, words="", asking=False):
        accepted = bool(self._rows) and bool(self._view.standing.accepted[self._rows[0]])
        for widget in (self._reason, self._accept, self._leave):
            widget.setVisible(asking)
        self._accept.setEnabled(False)
        self._begin.setVisible(bool(self._rows) and not accepted and not asking)
        self._back.setVisible(accepted)
        self._words.setText(words)
        self._words.setVisible(bool(words))
        self.setVisible(bool(self._rows or words))
