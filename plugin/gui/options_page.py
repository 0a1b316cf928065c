"""The page "Fallkeeper" among QGIS's options."""

from __future__ import annotations

from qgis.gui import QgsOptionsPageWidget, QgsOptionsWidgetFactory
from qgis.PyQt.QtCore import QCoreApplication
from qgis.PyQt.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFormLayout,
    QGroupBox,
    QLabel,
    QPushButton,
    QSpinBox,
    QVBoxLayout,
)

from . import settings
from .actions import icon

TITLE = "Fallkeeper"  # by which QGIS opens the page


def tr(text):
    return QCoreApplication.translate("OptionsPage", text)


class OptionsFactory(QgsOptionsWidgetFactory):
    def __init__(self):
        super().__init__()
        self.setTitle(TITLE)

    def icon(self):
        return icon("fallkeeper")

    def createWidget(self, parent):
        return OptionsPage(parent)


class OptionsPage(QgsOptionsPageWidget):
    def __init__(self, parent=None):
        super().__init__(parent)
        self.setObjectName(TITLE)
        self._fields = {}
        column = QVBoxLayout(self)
        column.addWidget(self._group(tr("The network"), (
            (settings.READ_AT_ONCE, QCheckBox(tr("&Read the pipes as soon as a project is open")), "",
             tr("Off: press Read again in the panel when you want to ask something.")),
            (settings.FOLLOW_EDITS, QCheckBox(tr("&Follow every edit")), "",
             tr("Answers and findings are brought up to date while you draw. Off: press Read again.")),
            (settings.ACCEPT_PROPOSED, QCheckBox(tr("Count proposed &joints as real")), "",
             tr("Ends that nearly meet a pipe count as joined. No layer is changed; the panel says that it is so.")),
        )))
        column.addWidget(self._group(tr("Clicking on the map"), (
            (settings.CLICK_PIXELS, _whole(4, 60, tr(" pixels")), tr("A &pipe is hit within"), ""),
            (settings.NEAREST_M, _metres(), tr("Else take the &nearest pipe within"),
             tr("For a click on a wet spot beside the pipes. The answer says how far the pipe is.")),
            (settings.LINE_WIDTH, _whole(2, 16, tr(" pixels")), tr("&Width of highlighted pipes"), ""),
            (settings.ARROWS, QCheckBox(tr("Show arrows of &flow")), "", ""),
        )))
        column.addWidget(self._group(tr("Printing"), (
            (settings.PAPER, _papers(), tr("Pa&per"), ""),
        )))
        limits = QLabel(tr(
            "Limits such as the least cover belong to the archive, so that everybody checks by the same: open its "
            "table 'limits' and add a row. What they are and where they come from is in the manual."
        ))
        limits.setWordWrap(True)
        column.addWidget(limits)
        again = QPushButton(tr("Back to the &defaults"))
        again.clicked.connect(self.show_defaults)
        column.addWidget(again)
        column.addStretch()

    def helpKey(self):
        return ""

    def apply(self):
        for setting, field in self._fields.items():
            setting.keep(_value(field))

    def show_defaults(self):
        """Defaults in all fields; nothing is kept before OK is pressed."""
        for setting, field in self._fields.items():
            _show(field, setting.default)

    def _group(self, title, rows):
        group = QGroupBox(title)
        form = QFormLayout(group)
        for setting, field, label, hint in rows:
            _show(field, setting.value)
            field.setToolTip(hint)
            self._fields[setting] = field
            form.addRow(*((label, field) if label else (field,)))
        return group


def _whole(least, most, suffix):
    field = QSpinBox()
    field.setRange(least, most)
    field.setSuffix(suffix)
    return field


def _metres():
    field = QDoubleSpinBox()
    field.setRange(0.0, 500.0)
    field.setDecimals(1)
    field.setSuffix(tr(" m"))
    return field


def _papers():
    field = QComboBox()
    for value, label in ((settings.PAPER_AUTO, tr("by the archive's units")), (settings.LETTER, tr("Letter")),
                         (settings.A4, tr("A4"))):
        field.addItem(label, value)
    return field


def _show(field, value):
    if isinstance(field, QCheckBox):
        field.setChecked(value)
    elif isinstance(field, QComboBox):
        field.setCurrentIndex(field.findData(value))
    else:
        field.setValue(value)


def _value(field):
    if isinstance(field, QCheckBox):
        return field.isChecked()
    return field.currentData() if isinstance(field, QComboBox) else field.value()
