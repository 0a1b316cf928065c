"""What the user may set for the desktop; kept in QGIS's settings under `fallkeeper/`. Limits belong to the archive."""

from __future__ import annotations

from dataclasses import dataclass

from qgis.core import QgsSettings


@dataclass(frozen=True)
class Setting:
    """One value with its default, whose type it has."""

    key: str
    default: bool | int | float | str

    @property
    def value(self) -> bool | int | float | str:
        return QgsSettings().value(f"fallkeeper/{self.key}", self.default, type=type(self.default))

    def keep(self, value: bool | int | float | str) -> None:
        QgsSettings().setValue(f"fallkeeper/{self.key}", value)


PAPER_AUTO, LETTER, A4 = "auto", "letter", "a4"

READ_AT_ONCE = Setting("read_at_once", True)
FOLLOW_EDITS = Setting("follow_edits", True)
ACCEPT_PROPOSED = Setting("accept_proposed", False)
CLICK_PIXELS = Setting("click_pixels", 12)
NEAREST_M = Setting("nearest_m", 30.0)
ARROWS = Setting("arrows", True)
LINE_WIDTH = Setting("line_width", 5)
PAPER = Setting("paper", PAPER_AUTO)
EVERY = (READ_AT_ONCE, FOLLOW_EDITS, ACCEPT_PROPOSED, CLICK_PIXELS, NEAREST_M, ARROWS, LINE_WIDTH, PAPER)

WRITTEN_DOWN = Setting("written_down", "")  # kept by the panel, so not on the page of settings
