"""An answer: sentences and small tables under headings, as text to copy and as HTML to read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from ..report.markup import escape

_FIGURE = re.compile(r"[-\d.,]+( %)?$")


@dataclass(frozen=True)
class Section:
    """A heading with sentences, and a table where `head` is not empty."""

    title: str
    sentences: tuple[str, ...] = ()
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Answer:
    """A title, then sections; `warnings` come first and are never left out."""

    title: str
    sections: tuple[Section, ...]
    warnings: tuple[str, ...] = field(default=())


def as_text(answer: Answer) -> str:
    """The answer as plain text; cells of tables stand behind tabs, so that they fall into columns of a sheet."""
    lines = [answer.title, *(f"! {warning}" for warning in answer.warnings)]
    for section in answer.sections:
        lines += ["", section.title, *section.sentences]
        lines += ["\t".join(row) for row in ((section.head, *section.rows) if section.head else ())]
    return "\n".join(lines) + "\n"


def as_html(answer: Answer) -> str:
    """The answer for a panel of the desktop, which knows little of style sheets; colours are left to its theme."""
    return "\n".join(html_parts(answer))


def html_parts(answer: Answer) -> Iterator[str]:
    """The title with the warnings, then the sections one by one."""
    warnings = "".join(f"<p><b>\u26a0 {escape(warning)}</b></p>" for warning in answer.warnings)
    yield f"<h3>{escape(answer.title)}</h3>{warnings}"
    for section in answer.sections:
        yield "\n".join(_html(section))


def _html(section: Section) -> Iterator[str]:
    yield f"<h4>{escape(section.title)}</h4>"
    yield from (f"<p>{escape(sentence)}</p>" for sentence in section.sentences)
    if section.head:
        yield '<table width="100%" cellspacing="0" cellpadding="3">'
        figures = [all(_FIGURE.match(row[k]) for row in section.rows) for k in range(len(section.head))]
        yield _row("th", section.head, figures)
        yield from (_row("td", row, figures) for row in section.rows)
        yield "</table>"


def _row(tag: str, cells: tuple[str, ...], figures: list[bool]) -> str:
    """Figures stand at the right, words at the left."""
    sides = ("right" if is_figure else "left" for is_figure in figures)
    row = "".join(f'<{tag} align="{side}">{escape(cell)}</{tag}>' for side, cell in zip(sides, cells))
    return f"<tr>{row}</tr>"
