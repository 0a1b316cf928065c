"""The legend of a long section: a sample and words for everything that is drawn, and for nothing else."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .axes import Frame
from .calls import UNKNOWN, style_of
from .profile_data import (
    CROSSING,
    FIXED,
    JOINT,
    SILL,
    SIZE_STEP,
    STRUCTURE,
    TIE_IN,
    WATER,
    CallStretch,
    Profile,
)
from .profile_marks import draw_symbol
from .svg import Drawing

ROW = 22
COLUMNS = 3
GROUND = {"stroke": "#5c3d1e", "stroke_width": 2.5}
COVER = {"stroke": "#2e6b2e", "stroke_width": 1.5, "stroke_dasharray": "7 3 2 3"}
CROWN = {"stroke": "#7a7a7a", "stroke_width": 1.5}
BAND = {"fill": "#c9d8e3"}
STANDING = {"stroke": "#0a7d8c", "stroke_width": 2, "stroke_dasharray": "9 3 2 3 2 3"}

_MARK_WORDS = {
    STRUCTURE: "structure",
    JOINT: "joint of a pipe",
    CROSSING: "pipe that is crossed",
    TIE_IN: "tie-in",
    FIXED: "fixed point (bar: its limit)",
    SIZE_STEP: "change of size",
    SILL: "sill that holds water back",
    WATER: "water outside the outlet",
}
Sample = Callable[[Drawing, float, float], None]


def legend(profile: Profile, runs: list[CallStretch]) -> list[tuple[str, Sample]]:
    """Words and a function that draws the sample at (x, y)."""
    entries: list[tuple[str, Sample]] = []
    if np.isfinite(profile.ground_m).any():
        entries.append(("ground", _line(GROUND)))
    for call in dict.fromkeys(run.call for run in runs):
        words = "unknown: no line drawn" if call == UNKNOWN else f"pipe invert: {style_of(call).words}"
        entries.append((words, _call(call)))
    if np.isfinite(profile.band_m + profile.invert_m).any():
        entries.append(("invert lies here, 95 % sure", _area))
    if np.isfinite(profile.crown_m).any():
        entries.append(("inside top of pipe", _line(CROWN)))
    if np.isfinite(profile.cover_line_m).any():
        cover = profile.units.show_length(profile.least_cover_m)
        entries.append((f"top must stay below: {cover} cover", _line(COVER)))
    if np.isfinite(profile.water_m).any():
        entries.append(("water left standing in it", _line(STANDING)))
    for kind in dict.fromkeys(mark.kind for mark in profile.marks):
        entries.append((_MARK_WORDS[kind], _symbol(kind)))
    return entries


def legend_height(profile: Profile, runs: list[CallStretch]) -> float:
    return ROW * -(-len(legend(profile, runs)) // COLUMNS)


def draw_legend(drawing: Drawing, frame: Frame, top: float, profile: Profile, runs: list[CallStretch]) -> None:
    across = (frame.right - frame.left) / COLUMNS
    for place, (words, sample) in enumerate(legend(profile, runs)):
        x, y = frame.left + across * (place % COLUMNS), top + ROW * (place // COLUMNS) + 14
        sample(drawing, x, y)
        drawing.text(x + 41, y, words, 13)


def _line(style: dict[str, object]) -> Sample:
    return lambda drawing, x, y: drawing.line(x, y - 5, x + 34, y - 5, **style)


def _area(drawing: Drawing, x: float, y: float) -> None:
    drawing.rect(x, y - 12, 34, 14, **BAND)


def _symbol(kind: str) -> Sample:
    return lambda drawing, x, y: draw_symbol(drawing, kind, x + 17, y - 5)


def _call(call: str) -> Sample:
    style = style_of(call)
    if call != UNKNOWN:
        dash = {"stroke": style.colour, "stroke_width": style.width, "stroke_dasharray": style.dash or None}
        return _line(dash)

    def hatched(drawing: Drawing, x: float, y: float) -> None:
        drawing.rect(x, y - 12, 34, 14, stroke=style.colour)
        drawing.hatch(x, y - 12, 34, 14, style.hatch, style.colour)

    return hatched
