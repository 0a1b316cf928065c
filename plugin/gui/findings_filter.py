"""Which findings are listed: by severity, by check, by system, and only those on the map."""

from __future__ import annotations

from qgis.PyQt.QtCore import QCoreApplication, Qt, pyqtSignal
from qgis.PyQt.QtWidgets import QCheckBox, QComboBox, QCompleter, QGridLayout, QWidget

_SHORT = 9  # characters a list shows in a narrow dock; it grows with the dock


def tr(text):
    return QCoreApplication.translate("FindingsFilter", text)


class FindingsFilter(QWidget):
    """`changed`: another choice."""

    changed = pyqtSignal()

    def __init__(self, parent=None):
        super().__init__(parent)
        self.severity = QComboBox()
        for label, value in ((tr("all findings"), None), (tr("serious only"), "serious"), (tr("doubts only"), "doubt"),
                             (tr("notes only"), "note")):
            self.severity.addItem(label, value)
        self.in_view = QCheckBox(tr("only on the map"))
        self.in_view.setToolTip(tr("Only findings within what the map shows now."))
        self.check = _SearchBox(tr("every check"), tr("One check alone. Type part of a word to find it."))
        self.system = _SearchBox(tr("every system"), tr(
            "One system alone, those with most findings first. Type part of the name of its main or outlet."))
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        for place, widget in enumerate((self.severity, self.in_view, self.check, self.system)):
            grid.addWidget(widget, place // 2, place % 2)
        grid.setColumnStretch(0, 1)
        grid.setColumnStretch(1, 1)
        self.severity.currentIndexChanged.connect(self.changed)
        self.in_view.toggled.connect(self.changed)
        for box in (self.check, self.system):
            box.currentIndexChanged.connect(self.changed)

    def offer(self, view):
        """List the checks and systems in which something was found; what is chosen stays, if it is still there."""
        from ..answers.systems import named_systems

        checks = [] if view is None else view.checks_found()
        systems = [] if view is None else named_systems(view)
        blocked = self.blockSignals(True)
        self.check.offer([(check.title, count, check.id) for check, count in checks])
        self.system.offer([(one.name, one.count, one.number) for one in systems])
        self.blockSignals(blocked)

    def chosen(self):
        """What FindingsView.groups asks for, the box aside."""
        return {"severity": self.severity.currentData(), "check": self.check.currentData(),
                "system": self.system.currentData()}


class _SearchBox(QComboBox):
    """A list to choose from or to search by typing; each entry has the number of its findings."""

    def __init__(self, all_of_them, tip):
        super().__init__()
        self._all = all_of_them
        self.setToolTip(tip)
        self.setEditable(True)
        self.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(_SHORT)
        self.completer().setFilterMode(Qt.MatchFlag.MatchContains)
        self.completer().setCompletionMode(QCompleter.CompletionMode.PopupCompletion)
        self.lineEdit().editingFinished.connect(self._settle)
        self._names = []
        self.offer([])

    def offer(self, entries):
        """`entries`: name, number of findings, data. The one chosen is kept by its name."""
        kept = self._names[self.currentIndex()] if self.currentIndex() > 0 else None
        self.clear()
        self._names = [None, *(name for name, *_ in entries)]
        self.addItem(self._all, None)
        for name, count, data in entries:
            self.addItem(f"{name} ({count:,})", data)
        self.setCurrentIndex(self._names.index(kept) if kept in self._names else 0)
        self.lineEdit().setCursorPosition(0)

    def _settle(self):
        """Words that are no entry are the first one that has them, else what was chosen before."""
        typed = self.lineEdit().text().strip()
        if typed == self.itemText(self.currentIndex()):
            return
        found = self.findText(typed, Qt.MatchFlag.MatchContains) if typed else 0
        self.setCurrentIndex(found if found >= 0 else self.currentIndex())
        self.setEditText(self.itemText(self.currentIndex()))
        self.lineEdit().setCursorPosition(0)
