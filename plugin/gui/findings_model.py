"""Findings as a tree of two levels: what is wrong, and below it each place; rows are put into words when shown."""

from __future__ import annotations

from qgis.PyQt.QtCore import QAbstractItemModel, QCoreApplication, QModelIndex, Qt

_GROUP = 0  # internal id of a group; a finding has the number of its group plus 1


def tr(text):
    return QCoreApplication.translate("FindingsModel", text)


class FindingsModel(QAbstractItemModel):
    def __init__(self, parent=None):
        super().__init__(parent)
        self._view, self._groups = None, []

    def show(self, view, groups):
        """Take a FindingsView and groups of it."""
        self.beginResetModel()
        self._view, self._groups = view, groups
        self.endResetModel()

    def row_at(self, index):
        """The finding of an index as a row of the view; None for a group."""
        if not index.isValid() or index.internalId() == _GROUP:
            return None
        return int(self._groups[index.internalId() - 1].rows[index.row()])

    def rows_at(self, index):
        """Key of the group and findings of an index: all of them for a group; nothing where there is none."""
        if not index.isValid():
            return None, []
        row = self.row_at(index)
        group = self._groups[index.row() if row is None else index.internalId() - 1]
        return group.key, group.rows.tolist() if row is None else [row]

    def check_at(self, index):
        """The id of the check of a group; that of what is accepted is another word."""
        return self._groups[index.row()].key

    def index(self, row, column, parent=None):
        parent = parent or QModelIndex()
        if not self.hasIndex(row, column, parent):
            return QModelIndex()
        return self.createIndex(row, column, parent.row() + 1 if parent.isValid() else _GROUP)

    def parent(self, index):
        if not index.isValid() or index.internalId() == _GROUP:
            return QModelIndex()
        return self.createIndex(index.internalId() - 1, 0, _GROUP)

    def rowCount(self, parent=None):
        parent = parent or QModelIndex()
        if not parent.isValid():
            return len(self._groups)
        is_group = parent.internalId() == _GROUP and parent.column() == 0
        return len(self._groups[parent.row()].rows) if is_group else 0

    def columnCount(self, parent=None):
        return 3

    def headerData(self, section, orientation, role=Qt.ItemDataRole.DisplayRole):
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return (tr("What and where"), tr("Value"), tr("Limit"))[section]
        return None

    def data(self, index, role=Qt.ItemDataRole.DisplayRole):
        if role not in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.ToolTipRole):
            return None
        row = self.row_at(index)
        if row is not None:
            return self._view.cells(row)[index.column()]
        if index.column():
            return None
        group = self._groups[index.row()]
        if group.check is None:
            return _accepted_group(len(group.rows), role)
        if role == Qt.ItemDataRole.ToolTipRole:
            return group.check.remedy
        return f"{group.check.title} ({len(group.rows):,}, {tr(group.check.severity.value)})"


def _accepted_group(count, role):
    if role == Qt.ItemDataRole.ToolTipRole:
        return tr("Somebody has looked at these and lets them stand; they come back when the facts are worse.")
    return f"{tr('Accepted, with reason')} ({count:,})"
