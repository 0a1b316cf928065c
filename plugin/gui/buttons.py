"""Buttons with a tip, which do one thing."""

from __future__ import annotations

from qgis.PyQt.QtWidgets import QPushButton


def push_button(label, tip, action):
    """`action` is called without what Qt says of the click."""
    button = QPushButton(label)
    button.setToolTip(tip)
    button.clicked.connect(lambda: action())
    return button
