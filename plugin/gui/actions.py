"""The plugin's actions: each with words, a hint, its own icon and keys that can be changed in QGIS's list of shortcuts.
"""

from __future__ import annotations

from pathlib import Path

from qgis.gui import QgsGui
from qgis.PyQt.QtGui import QIcon
from qgis.PyQt.QtWidgets import QAction

ICONS = Path(__file__).resolve().parents[1] / "icons"
KEYS = "Alt+K, {}"  # two strokes: QGIS itself leaves hardly a single one free


def icon(name):
    return QIcon(str(ICONS / f"{name}.svg"))


class Actions:
    """Made with the dock and given back with it; works wherever the focus is in the main window."""

    def __init__(self, window):
        self._window = window
        self.all = []

    def add(self, name, text, hint, key, act, checkable=False):
        """An action with the icon `name`. `act` is called without argument, or with the new state if `checkable`."""
        return self.take(QAction(icon(name), text, self._window), name, hint, key, act, checkable)

    def take(self, action, name, hint, key, act=None, checkable=False):
        """The same with an action that is there already."""
        action.setObjectName(f"fallkeeper_{name}")
        action.setIcon(icon(name))
        action.setToolTip(hint)
        action.setStatusTip(hint)
        if checkable:
            action.setCheckable(True)
        if act is not None:
            action.triggered.connect(act if checkable else lambda: act())
        QgsGui.shortcutsManager().registerAction(action, KEYS.format(key))
        self._window.addAction(action)
        self.all.append(action)
        return action

    def release(self):
        """Take all of them from QGIS."""
        for action in self.all:
            QgsGui.shortcutsManager().unregisterAction(action)
            self._window.removeAction(action)
            action.deleteLater()
        self.all = []
