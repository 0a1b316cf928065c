"""Asking the dock on the sample: places of Ossel Flats, clicks, and waiting for what runs in the background."""

import time

from fallkeeper.sample_project import rows as sample_rows
from qgis.core import QgsApplication, QgsPointXY, QgsRectangle
from qgis.PyQt.QtCore import Qt
from qgis.PyQt.QtTest import QTest

WAIT_S = 20


def place(x_ft, y_ft):
    return sample_rows.ORIGIN_FT[0] + x_ft, sample_rows.ORIGIN_FT[1] + y_ft


def extent(x0_ft, y0_ft, x1_ft, y1_ft):
    return QgsRectangle(*place(x0_ft, y0_ft), *place(x1_ft, y1_ft))


def until(true, what="it"):
    end = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < end, f"waited too long for {what}"
        QgsApplication.processEvents()
        time.sleep(0.01)


def settled(dock):
    """Wait until everything edited so far is in what the dock answers from."""
    session = dock.session
    until(lambda: session.loaded is not None and not session.is_loading and not session.is_behind, "the pipes as drawn")


def checked(dock):
    """The dock with its findings, once its pipes are read and checked."""
    until(lambda: dock.session.loaded is not None)
    dock.ask(dock.findings)
    dock.findings.check()
    until(lambda: dock.findings.view is not None, "the findings")
    return dock


def press(dock, x_ft, y_ft):
    """Press the mouse on the map, as a user does."""
    canvas = dock.trace.tool.canvas()
    at = canvas.getCoordinateTransform().transform(QgsPointXY(*place(x_ft, y_ft))).toQPointF().toPoint()
    QTest.mouseClick(canvas.viewport(), Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, at)


def click(dock, x_ft, y_ft):
    """Press the mouse on a pipe and wait for the words."""
    dock.trace.clear()
    press(dock, x_ft, y_ft)
    until(lambda: dock.trace.words, "the answer")
    return dock.trace.words
