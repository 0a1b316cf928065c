"""What is typed of a new pipe: size, kind, inverts, least grade; in the units of the archive."""

from __future__ import annotations

import math

from qgis.PyQt.QtCore import QCoreApplication, QLocale, Qt, pyqtSignal
from qgis.PyQt.QtWidgets import QComboBox, QFormLayout, QLabel, QLineEdit, QWidget

from ..schema.stock import stock_sizes
from ..schema.values import VALUE_LISTS

_BLANK = "\u2013"


def tr(text):
    return QCoreApplication.translate("RerouteForm", text)


class RerouteForm(QWidget):
    """`changed`: something is typed differently. A field left empty takes what the network knows."""

    changed = pyqtSignal()

    def __init__(self, parent=None):
        super().__init__(parent)
        self._name = QLineEdit("R1")
        self._diameter = QComboBox()
        self._diameter.setEditable(True)
        self._diameter.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self._diameter.setCompleter(None)  # it would write on to a size nobody chose
        self._diameter.lineEdit().setPlaceholderText(tr("unknown"))
        self._words = {name: self._choice(name) for name in ("material", "openings")}
        self._figures = {
            "invert_up": self._figure(tr("from the pipe it ties in to")),
            "invert_down": self._figure(tr("from the pipe it ties in to")),
            "invert_error": self._figure(tr("that of the evidence")),
            "grade": self._figure(tr("straight from invert to invert")),
            "least_grade": self._figure(tr("that which keeps it clean")),
        }
        self._labels = [QLabel() for _ in range(4 + len(self._figures))]
        rows = QFormLayout(self)
        rows.setContentsMargins(0, 0, 0, 0)
        for label, field in zip(self._labels, (self._name, self._diameter, *self._words.values(),
                                               *self._figures.values())):
            label.setBuddy(field)
            rows.addRow(label, field)
        self._words["material"].currentIndexChanged.connect(self._offer_sizes)
        self._name.textEdited.connect(lambda: self.changed.emit())
        self._diameter.editTextChanged.connect(lambda: self.changed.emit())
        self.units = None
        self._name_units("ft", "in")

    @property
    def name(self):
        return self._name.text().strip() or "R"

    def set_name(self, name):
        self._name.setText(name)

    def set_units(self, units):
        """Labels and sizes in the archive's units."""
        self.units = units
        self._name_units(units.length_name, units.diameter_name)
        self._offer_sizes()

    def _offer_sizes(self):
        """Those that pipe of the material is sold in; any other may be typed."""
        if self.units is None:
            return
        kept = self._diameter.currentText()
        self._diameter.blockSignals(True)
        self._diameter.clear()
        for size, words in stock_sizes(self._words["material"].currentData(), self.units.is_us):
            self._diameter.addItem(f"{size:g}")
            self._diameter.setItemData(self._diameter.count() - 1, words, Qt.ItemDataRole.ToolTipRole)
        self._diameter.setEditText(kept)
        self._diameter.blockSignals(False)

    def _name_units(self, length, size):
        for label, words in zip(self._labels, (
            tr("&Name"), tr("Inside &diameter ({})").format(size), tr("&Material"), tr("&Openings"),
            tr("Invert, &upper end ({})").format(length), tr("Invert, &lower end ({})").format(length),
            tr("Standard &error of both ({})").format(length), tr("Lay it at a g&rade of (%)"), tr("Least &grade (%)"),
        )):
            label.setText(words)

    def asked(self, units, xy_m):
        """The answers.reroute.Asked for a line; ValueError with a sentence where a field is no number."""
        from ..answers.reroute import Asked

        length = units.length_m
        return Asked(
            self.name, xy_m, self._number(self._diameter.currentText(), tr("The diameter")) * units.diameter_m,
            *(self._words[name].currentData() for name in ("material", "openings")),
            *(self._number(self._figures[name].text(), words) * length for name, words in (
                ("invert_up", tr("The upper invert")), ("invert_down", tr("The lower invert")),
                ("invert_error", tr("The standard error")))),
            *(self._number(self._figures[name].text(), words) / 100.0 for name, words in (
                ("least_grade", tr("The least grade")), ("grade", tr("The grade")))),
        )

    def _number(self, text, what):
        """NaN for nothing; the decimal sign of the user's locale or a point."""
        text = text.strip()
        if not text:
            return math.nan
        value, went_well = QLocale().toDouble(text)
        if not went_well:
            value, went_well = QLocale.c().toDouble(text)
        if not went_well or not math.isfinite(value):
            raise ValueError(tr("{} is no number: '{}'. Write figures only, or leave it empty.").format(what, text))
        return value

    def _figure(self, placeholder):
        field = QLineEdit()
        field.setPlaceholderText(placeholder)
        field.textEdited.connect(lambda: self.changed.emit())
        return field

    def _choice(self, name):
        box = QComboBox()
        box.addItem(_BLANK, None)
        for value, words in VALUE_LISTS[name].items():
            box.addItem(words, value)
        box.currentIndexChanged.connect(lambda: self.changed.emit())
        return box
