"""Offers the sizes pipe is sold in, where the diameter of a drain is typed in its form; any other figure may be typed.

The form keeps its plain field, in the archive and in the project: it works where this plugin is not, and in archives of
older versions too. The list hangs on the field while the plugin is on.
"""

from __future__ import annotations

from qgis.core import NULL
from qgis.gui import QgsAttributeForm, QgsEditorWidgetWrapper
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QModelIndex, QObject, Qt, QTimer
from qgis.PyQt.QtGui import QStandardItem, QStandardItemModel
from qgis.PyQt.QtWidgets import QApplication, QCompleter, QLineEdit

from ..schema.stock import stock_sizes


class StockList(QObject):
    """Follows the focus; `session` says which drains are asked. The list opens when the field is entered, and with the
    arrow keys.
    """

    def __init__(self, session, parent=None):
        super().__init__(parent)
        self._session, self._completer = session, None
        QApplication.instance().focusChanged.connect(self._focused)

    def release(self):
        QApplication.instance().focusChanged.disconnect(self._focused)
        self._drop()

    def offer(self, field):
        """Hang the list on a field, if it is that of a drain's diameter; gives the QCompleter, else None."""
        wrapper = QgsEditorWidgetWrapper.fromWidget(field)
        if not self._is_diameter(wrapper) or field.isReadOnly():
            return None
        self._drop()
        self._completer = QCompleter(self._sizes(field), field)
        self._completer.setCompletionMode(QCompleter.CompletionMode.UnfilteredPopupCompletion)
        self._completer.setCompletionRole(Qt.ItemDataRole.UserRole)
        # not the field's own completer: that would take the first size that begins like what is typed on Enter
        self._completer.setWidget(field)
        self._completer.activated[str].connect(field.setText)
        field.textEdited.connect(self._completer.popup().hide)
        return self._completer

    def _focused(self, before, now):
        if isinstance(now, QLineEdit) and self.offer(now) is not None:
            QTimer.singleShot(0, self._open)  # the click that entered the field closes what is open before

    def _open(self):
        if self._completer is not None and not sip.isdeleted(self._completer):
            self._completer.complete()
            self._completer.popup().setCurrentIndex(QModelIndex())  # Enter takes nothing that nobody went to

    def _drop(self):
        completer, self._completer = self._completer, None
        if completer is not None and not sip.isdeleted(completer):
            completer.popup().hide()
            completer.deleteLater()

    def _is_diameter(self, wrapper):
        if not isinstance(wrapper, QgsEditorWidgetWrapper) or self._session.loaded is None:
            return False
        return wrapper.layer() is self._session.archive.drains and wrapper.field().name() == "diameter"

    def _sizes(self, field):
        """What people read, and the figure that is typed for it."""
        model = QStandardItemModel(field)
        for figure, words in stock_sizes(_material(field), self._session.loaded.county.units.is_us):
            item = QStandardItem()
            item.setData(words, Qt.ItemDataRole.DisplayRole)
            item.setData(f"{figure:g}", Qt.ItemDataRole.UserRole)
            model.appendRow(item)
        return model


def _material(field):
    """As it stands in the form now; None where it is unknown, or the form tells nothing."""
    form = field.parent()
    while form is not None and not isinstance(form, QgsAttributeForm):
        form = form.parent()
    row = form.currentFormFeature() if form is not None else None
    if row is None or row.fieldNameIndex("material") < 0:
        return None
    return None if row["material"] == NULL else row["material"]
