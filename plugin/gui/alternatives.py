"""Alternatives of a new pipe side by side: one column each, the one being drawn last."""

from __future__ import annotations

from qgis.PyQt.QtCore import QCoreApplication
from qgis.PyQt.QtWidgets import QTableWidget, QTableWidgetItem


def tr(text):
    return QCoreApplication.translate("Alternatives", text)


class Alternatives(QTableWidget):
    def __init__(self, parent=None):
        super().__init__(parent)
        self.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QTableWidget.SelectionBehavior.SelectColumns)
        self.setSelectionMode(QTableWidget.SelectionMode.SingleSelection)

    def fill(self, kept, current):
        """Show answers.reroute.Alternative of those kept and, not None, of the one being drawn."""
        from ..answers.reroute import FIGURES, figures

        columns = [*kept, *([current] if current is not None else [])]
        self.setVisible(bool(columns))
        self.setRowCount(len(FIGURES) + 1)
        self.setVerticalHeaderLabels([tr("Verdict"), *(tr(figure) for figure in FIGURES)])
        self.setColumnCount(len(columns))
        self.setHorizontalHeaderLabels([one.name for one in kept] + [tr("being drawn")] * (len(columns) - len(kept)))
        for column, one in enumerate(columns):
            verdict = one.reroute.verdict.call.replace("_", " ")
            for row, words in enumerate((verdict, *figures(one))):
                self.setItem(row, column, QTableWidgetItem(words))
        self.resizeColumnsToContents()
