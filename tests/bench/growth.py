"""The plot of CPU seconds against the size of the county, as SVG."""

from __future__ import annotations

import numpy as np
from results import Measured
from targets import MOST_GROWTH, WORDS, cpu, expected_cpu

WIDTH, HEIGHT = 460, 380
LEFT, RIGHT, TOP, BOTTOM = 70, 30, 50, 60
COLOUR, BAND = "#0b5394", "#d9e5f1"


def plot(measured: list[Measured]) -> str:
    """Network and whole check, each against what growth in proportion would cost; both axes logarithmic."""
    from fallkeeper.plugin.report.svg import Drawing

    drawing = Drawing(
        2 * WIDTH, HEIGHT, "CPU seconds against the size of the county",
        "Dots are measured, the band is growth in proportion to lines and ground cells, more or less 20 percent",
    )
    drawing.rect(0, 0, 2 * WIDTH, HEIGHT, fill="#ffffff")
    for number, name in enumerate(("build", "check")):
        _panel(drawing, number * WIDTH, measured, name)
    return drawing.render() + "\n"


def _panel(drawing: object, left: float, measured: list[Measured], name: str) -> None:
    lines = [one.lines for one in measured]
    seconds = [cpu(one, name) for one in measured]
    even = [expected_cpu(measured[0], one, name) for one in measured]
    x = _Axis(left + LEFT, left + WIDTH - RIGHT, lines, 0.08)
    values = [*seconds, *(v * (1 + s) for v in even for s in (MOST_GROWTH, -MOST_GROWTH))]
    y = _Axis(HEIGHT - BOTTOM, TOP, values, 0.15)
    places = np.array([x.at(n) for n in lines])
    upper, lower = ([y.at(v * (1 + s)) for v in even] for s in (MOST_GROWTH, -MOST_GROWTH))
    ring = np.column_stack([np.concatenate([places, places[::-1]]), [*upper, *lower[::-1]]])
    drawing.areas([ring], fill=BAND)
    drawing.lines([np.column_stack([places, [y.at(v) for v in even]])], stroke="#666666", stroke_dasharray="5 4")
    _axes(drawing, left, x, y, name)
    for place, up, low, value in zip(places, upper, lower, seconds):
        drawing.circle(place, y.at(value), 5, fill=COLOUR)
        first = place == places[0]  # labels stand clear of the band
        drawing.text(place, low + 18 if first else up - 8, f"{value:.1f} s", 13, "start" if first else "end")
    drawing.text(left + WIDTH - RIGHT, HEIGHT - BOTTOM - 10, "band: in proportion, ± 20 %", 12, "end")


def _axes(drawing: object, left: float, x: _Axis, y: _Axis, name: str) -> None:
    drawing.text(left + LEFT, 28, WORDS[name].capitalize(), 16, font_weight="bold")
    drawing.line(left + LEFT, HEIGHT - BOTTOM, left + WIDTH - RIGHT, HEIGHT - BOTTOM)
    drawing.line(left + LEFT, TOP, left + LEFT, HEIGHT - BOTTOM)
    for n in x.values:
        drawing.line(x.at(n), HEIGHT - BOTTOM, x.at(n), HEIGHT - BOTTOM + 5)
        drawing.text(x.at(n), HEIGHT - BOTTOM + 20, f"{n:,}", 12, "middle")
    for value in y.ticks():
        drawing.line(left + LEFT - 5, y.at(value), left + LEFT, y.at(value))
        drawing.text(left + LEFT - 9, y.at(value) + 4, f"{value:g}", 12, "end")
    drawing.text(left + (LEFT + WIDTH - RIGHT) / 2, HEIGHT - 16, "lines in the county", 13, "middle")
    drawing.text(left + LEFT + 6, TOP + 4, "CPU seconds", 13)


class _Axis:
    """A logarithmic axis between two places, a little wider than the values on it."""

    def __init__(self, begin: float, end: float, values: list[float], room: float) -> None:
        """`room`: how much wider at either end, as a share of the range of values."""
        self.values = values
        self._begin, self._end = begin, end
        low, high = np.log10(min(values)), np.log10(max(values))
        self._low, self._high = low - room * (high - low), high + room * (high - low)

    def at(self, value: float) -> float:
        share = (np.log10(value) - self._low) / (self._high - self._low)
        return float(self._begin + share * (self._end - self._begin))

    def ticks(self) -> list[float]:
        """1, 2 and 5 of each power of ten on the axis."""
        powers = range(int(np.floor(self._low)), int(np.ceil(self._high)) + 1)
        marks = [digit * 10.0**power for power in powers for digit in (1, 2, 5)]
        return [mark for mark in marks if self._low <= np.log10(mark) <= self._high]
