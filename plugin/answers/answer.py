"""An answer: sentences and small tables under headings, as text to copy and as HTML to read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from ..report.markup import escape


@dataclass(frozen=True)
class Section:
    """A heading with sentences, and a table where `head` is not empty; columns after the first hold figures."""

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
    return "\n".join(_html(answer))


def _html(answer: Answer) -> Iterator[str]:
    yield f"<h3>{escape(answer.title)}</h3>"
    for warning in answer.warnings:
        yield f"<p><b>\u26a0 {escape(warning)}</b></p>"
    for section in answer.sections:
        yield f"<h4>{escape(section.title)}</h4>"
        yield from (f"<p>{escape(sentence)}</p>" for sentence in section.sentences)
        if section.head:
            yield '<table width="100%" cellspacing="0" cellpadding="3">'
            yield _row("th", section.head)
            yield from (_row("td", row) for row in section.rows)
            yield "</table>"


def _row(tag: str, cells: tuple[str, ...]) -> str:
    aligned = [f'<{tag} align="{"right" if k else "left"}">{escape(cell)}</{tag}>' for k, cell in enumerate(cells)]
    return f"<tr>{''.join(aligned)}</tr>"
