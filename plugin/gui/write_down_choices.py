"""What can be written down, as buttons, those used last in front."""

from __future__ import annotations

from functools import partial

from qgis.PyQt.QtCore import pyqtSignal
from qgis.PyQt.QtWidgets import QButtonGroup, QGridLayout, QPushButton, QWidget

from ..answers.write_down import BY_NAME, last_used_first
from .settings import WRITTEN_DOWN

_IN_A_ROW = 2
_PARTED = ","


class Choices(QWidget):
    """`chosen`: one was pressed."""

    chosen = pyqtSignal()

    def __init__(self, parent=None):
        super().__init__(parent)
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setSpacing(3)
        self._group = QButtonGroup(self)
        self.buttons = {}
        for name, choice in BY_NAME.items():
            button = QPushButton(choice.words)
            button.setCheckable(True)
            button.setToolTip(choice.words)
            button.clicked.connect(lambda: self.chosen.emit())
            button.toggled.connect(partial(_embolden, button))  # in a dark theme a pressed button hardly differs
            self._group.addButton(button)
            self.buttons[name] = button
        self.put_in_order()

    @property
    def current(self):
        """The Choice that is pressed, or None."""
        return next((BY_NAME[name] for name, button in self.buttons.items() if button.isChecked()), None)

    def put_in_order(self):
        """Those used last first; keys go through them in that order."""
        before = None
        for place, choice in enumerate(last_used_first(WRITTEN_DOWN.value.split(_PARTED))):
            button = self.buttons[choice.name]
            self._grid.addWidget(button, *divmod(place, _IN_A_ROW))
            if before is not None:
                QWidget.setTabOrder(before, button)
            before = button

    def used(self, choice):
        """Remember what was put, for the next time the panel is opened."""
        names = [one.name for one in last_used_first([choice.name, *WRITTEN_DOWN.value.split(_PARTED)])]
        WRITTEN_DOWN.keep(_PARTED.join(names))

    def clear(self):
        self._group.setExclusive(False)
        for button in self.buttons.values():
            button.setChecked(False)
        self._group.setExclusive(True)


def _embolden(button, on):
    font = button.font()
    font.setBold(on)
    button.setFont(font)
