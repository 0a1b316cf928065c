"""A small SVG writer.

It keeps to shapes, strokes and text (no patterns, clipping, style sheets or ids), so that several drawings
can stand in one page and Qt's SVG widget draws the same as a browser.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from .markup import escape

FONT = "Helvetica, Arial, 'DejaVu Sans', sans-serif"
INK = "#1a1a1a"


def number(value: float) -> str:
    """A coordinate with a tenth of a pixel, without trailing zeros."""
    text = f"{value:.1f}"
    text = text[:-2] if text.endswith(".0") else text
    return "0" if text == "-0" else text


def text_width(text: str, size: float) -> float:
    """Width in pixels a text may need; errs on the wide side, since the fonts at hand are not known."""
    return 0.6 * size * len(text)


class Drawing:
    """Shapes in drawing order, in pixels, y downward; `title` and `description` are read aloud to who cannot see it."""

    def __init__(self, width: float, height: float, title: str, description: str) -> None:
        self.width, self.height = width, height
        self._title, self._description = title, description
        self._shapes: list[str] = []

    def add(self, tag: str, **attributes: object) -> None:
        """A shape without content; `stroke_width` becomes stroke-width, None is left out."""
        self._shapes.append(f"<{tag}{_attributes(attributes)}/>")

    def line(self, x1: float, y1: float, x2: float, y2: float, **style: object) -> None:
        self.add("line", x1=x1, y1=y1, x2=x2, y2=y2, **{"stroke": INK, "stroke_width": 1, **style})

    def rect(self, x: float, y: float, width: float, height: float, **style: object) -> None:
        self.add("rect", x=x, y=y, width=width, height=height, **{"fill": "none", **style})

    def circle(self, x: float, y: float, radius: float, **style: object) -> None:
        self.add("circle", cx=x, cy=y, r=radius, **{"fill": "none", **style})

    def lines(self, runs: Iterable[np.ndarray], **style: object) -> None:
        """One path of several open lines, each an array (points, 2)."""
        self._path(" ".join(_run(run) for run in runs if len(run) > 1), style)

    def areas(self, rings: Iterable[np.ndarray], **style: object) -> None:
        """One path of several closed rings."""
        self._path(" ".join(_run(ring) + "Z" for ring in rings if len(ring) > 2), style)

    def _path(self, d: str, style: dict[str, object]) -> None:
        if d:
            self.add("path", d=d, **{"fill": "none", "stroke_linejoin": "round", **style})

    def text(self, x: float, y: float, text: str, size: float = 14, anchor: str = "start", **style: object) -> None:
        """A line of text on its baseline; `anchor` is start, middle or end."""
        attributes = {"x": x, "y": y, "font_size": size, "text_anchor": anchor, "fill": INK, **style}
        self._shapes.append(f"<text{_attributes(attributes)}>{escape(text)}</text>")

    def hatch(self, x: float, y: float, width: float, height: float, kind: str, colour: str, step: float = 8) -> None:
        """Hatch a rectangle: 'diagonal', 'cross' (both ways) or 'dots'; '' leaves it as it is."""
        if kind == "dots":
            self._path(_dots(x, y, width, height, step), {"stroke": colour, "stroke_width": 2})
            return
        runs = _diagonals(x, y, width, height, step) if kind else []
        if kind == "cross":
            runs += [np.column_stack([2 * x + width - run[:, 0], run[:, 1]]) for run in runs]
        self.lines(runs, stroke=colour, stroke_width=1)

    def render(self) -> str:
        """The drawing as one SVG element, fit for a page or, with the XML namespace it carries, a file."""
        size = f'viewBox="0 0 {number(self.width)} {number(self.height)}" width="{number(self.width)}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} height="{number(self.height)}" role="img" '
            f'aria-label="{escape(self._title)}. {escape(self._description)}" font-family="{FONT}">'
            f"<title>{escape(self._title)}</title><desc>{escape(self._description)}</desc>"
            f"{''.join(self._shapes)}</svg>"
        )


def _attributes(attributes: dict[str, object]) -> str:
    shown = []
    for name, value in attributes.items():
        if value is not None:
            text = number(float(value)) if isinstance(value, (int, float, np.number)) else escape(value)
            shown.append(f' {name.replace("_", "-")}="{text}"')
    return "".join(shown)


def _run(points: np.ndarray) -> str:
    return "M" + " ".join(f"{number(x)} {number(y)}" for x, y in points)


def _diagonals(x: float, y: float, width: float, height: float, step: float) -> list[np.ndarray]:
    """Lines rising to the right inside a rectangle, `step` apart across."""
    runs = []
    for offset in np.arange(step * np.sqrt(2), width + height, step * np.sqrt(2)):
        left, right = max(0.0, offset - height), min(width, offset)
        runs.append(np.array([[x + left, y + offset - left], [x + right, y + offset - right]]))
    return runs


def _dots(x: float, y: float, width: float, height: float, step: float) -> str:
    """Short dashes in rows, every other row shifted by half a step."""
    marks = []
    for row, at in enumerate(np.arange(y + step / 2, y + height, step / 1.6)):
        shift = step / 2 * (1 + row % 2)
        marks += [f"M{number(left)} {number(at)}h2" for left in np.arange(x + shift, x + width - 2, step)]
    return " ".join(marks)


def boxes_overlap(box: Sequence[float], others: Iterable[Sequence[float]]) -> bool:
    """Whether a box (left, top, right, bottom) meets any of the others."""
    return any(
        box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3] for other in others
    )
