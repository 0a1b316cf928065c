"""An answer as a page to print: what was on the map, all that was said, and the cautions."""

from __future__ import annotations

from ..owners.page_text import Block
from ..report.cautions import CAUTIONS
from ..report.markup import escape
from .answer import Answer, html_parts

_SMALL = 'style="font-size:9pt; color:#444444"'
_MOST_HEIGHT = 400.0  # of the picture, 96 an inch
_PRIVATE = (
    "This page names owners and their land: it is for the office. For one owner, make his own page (the algorithm "
    "Owner's page), which holds nobody else's data."
)


def answer_blocks(answer: Answer, about: str, picture: str, size: tuple[float, float]) -> tuple[Block, ...]:
    """`about`: archive, day, state. `picture`: the map, a PNG in base64, of `size` in pixels."""
    cautions = "".join(
        f"<p><b>{escape(caution.title)}.</b> {escape(caution.text)}</p>" for caution in CAUTIONS
    )
    shrunk = min(1.0, _MOST_HEIGHT / max(size[1], 1.0))  # so that the answer begins on the first page
    head, *sections = html_parts(answer)
    return (
        Block(html=f"{head}<p {_SMALL}>{escape(about)}</p>"),
        Block(svg=_drawing(picture, size), size=(size[0] * shrunk, size[1] * shrunk)),
        *(Block(html=section) for section in sections),
        Block(html=f"<h2 style='font-size:13pt'>Before anybody acts on this</h2><p {_SMALL}>{escape(_PRIVATE)}</p>"
                   f"<div {_SMALL}>{cautions}</div>"),
    )


def _drawing(picture: str, size: tuple[float, float]) -> str:
    width, height = size
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="0 0 {width:g} {height:g}"><image width="{width:g}" height="{height:g}" '
        f'xlink:href="data:image/png;base64,{picture}"/></svg>'
    )
