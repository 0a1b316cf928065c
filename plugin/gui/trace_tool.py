"""The map tool of the trace: what pipe is under the cursor, and a click on one."""

from __future__ import annotations

from qgis.PyQt.QtWidgets import QToolTip

from .click_tool import ClickTool


class TraceTool(ClickTool):
    """`say_under(point)` gives the words for the pipe under the cursor, or nothing."""

    def __init__(self, canvas, say_under):
        super().__init__(canvas)
        self._say_under = say_under

    def canvasMoveEvent(self, event):
        said = self._say_under(event.mapPoint())
        at = self.canvas().mapToGlobal(event.pos())
        if said:
            QToolTip.showText(at, said, self.canvas())
        else:
            QToolTip.hideText()
