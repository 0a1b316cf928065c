"""Translated words with a number in them."""

from __future__ import annotations

from qgis.PyQt.QtCore import QCoreApplication


def counted(context, text, count):
    """`text` of a context with %n for the number and (s) for the English plural."""
    said = QCoreApplication.translate(context, text, None, count)
    return said.replace("(s)", "" if count == 1 else "s")  # where there is no translation, which has forms of its own
