"""One owner's page as blocks to print, one under another: HTML of the few kinds Qt's documents know, and drawings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..report.content import Table
from ..report.markup import escape
from .page import OwnerPage
from .page_map import HEIGHT, WIDTH

_LARGE = 'style="font-size:13pt; margin-bottom:10px"'
_SMALL = 'style="font-size:9pt; color:#444444"'


@dataclass(frozen=True)
class Block:
    """HTML, or a drawing in SVG of a width and a height that keep their ratio."""

    html: str = ""
    svg: str = ""
    size: tuple[float, float] = (0.0, 0.0)


def page_blocks(page: OwnerPage, made_with: str) -> tuple[Block, ...]:
    """Heading, figures and maps; then tables and cautions."""
    head = f"<h1 style='font-size:18pt'>{escape(page.title)}</h1><p {_SMALL}>{escape(page.about)}</p>"
    said = "".join(f"<p {_LARGE}><b>{escape(sentence)}</b></p>" for sentence in page.sentences)
    blocks = [Block(html=head + said + _pairs(page.figures))]
    for drawing, caption in page.maps:
        blocks.append(Block(svg=drawing, size=(WIDTH, HEIGHT)))
        blocks.append(Block(html=f"<p {_SMALL}>{escape(caption)}: your land only, with the pipe under it. North is up."
                                 "</p>"))
    blocks.append(Block(html=f"{_heading('Your land')}{_table(page.fields)}"))
    blocks.append(Block(html=f"{_heading('Pipe under your land')}{_table(page.pipes)}"))
    blocks.append(Block(html=_notes(page, made_with)))
    return tuple(blocks)


def _heading(text: str) -> str:
    return f"<h2 style='font-size:13pt'>{escape(text)}</h2>"


def _pairs(rows: Sequence[tuple[str, str]]) -> str:
    body = "".join(
        f"<tr><td width='52%'>{escape(words)}</td><td><b>{escape(value)}</b></td></tr>" for words, value in rows
    )
    return f"<table width='100%' cellspacing='0' cellpadding='3'>{body}</table>"


def _table(content: Table) -> str:
    """A table whose last column is of figures."""
    if not content.rows:
        return f"<p>{escape(content.if_empty)}</p>"
    last = len(content.headings) - 1

    def row(cells: Sequence[str], tag: str) -> str:
        return "<tr>" + "".join(
            f"<{tag} align='{'right' if k == last else 'left'}'>{escape(cell)}</{tag}>" for k, cell in enumerate(cells)
        ) + "</tr>"

    body = "".join(row(cells, "td") for cells in content.rows)
    return f"<table width='100%' cellspacing='0' cellpadding='3' border='0'>{row(content.headings, 'th')}{body}</table>"


def _notes(page: OwnerPage, made_with: str) -> str:
    notes = (
        "Land drained is strips of half the spacing on either side of the laterals, each place once; it is no survey. "
        "A joint on the map is no proof of open flow. Pipe on the line between two owners counts for both.",
        "Of land and pipe of others this page gives totals only.",
    )
    cautions = "".join(f"<p><b>{escape(one.title)}.</b> {escape(one.text)}</p>" for one in page.cautions)
    said = "".join(f"<p>{escape(note)}</p>" for note in notes)
    return f"{_heading('Before you act on this page')}{said}{cautions}<p {_SMALL}>{escape(made_with)}</p>"
