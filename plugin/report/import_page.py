"""The page of an import: what would come in, what is doubtful, what has to be said before anything is written."""

from __future__ import annotations

from . import page_parts as parts
from .import_content import ImportContent, IssueGroup
from .markup import escape, plural

_WHERE = "all in the layer DOUBTS"


def render_import(content: ImportContent) -> str:
    """The whole page in one HTML file."""
    facts = content.facts
    return parts.document(
        f"{content.kind}: {facts.title}",
        [
            _heading(content),
            parts.section("In short", parts.verdict(content.sentences), parts.words_table(content.counts, (1, 2))),
            parts.section("Questions that only you can answer", parts.words_table(content.questions))
            if content.questions.rows else "",
            parts.section("On the map", parts.figures((content.map,))) if content.map is not None else "",
            parts.section("What comes in", parts.words_table(content.sums, (1, 2, 3, 4))),
            _rows("Doubtful", content.doubtful, "No row is doubtful."),
            _rows("Left out", content.left_out, "No row is left out."),
            parts.section("What the fields of the file were taken for", parts.words_table(content.fields, (5,)),
                          *_said(content)),
            parts.section("What the entries were taken for", parts.words_table(content.words, (4,)))
            if content.words.rows else "",
            _rows("Remarks on rows that come in", content.remarks, "None."),
            parts.section("Before you act on this page", parts.cautions(content.cautions)),
            parts.section("Data", parts.pairs(_data(content))),
        ],
    )  # fmt: skip


def _heading(content: ImportContent) -> str:
    facts = content.facts
    return (
        f"<header><h1>{escape(content.kind)}: {escape(facts.title)}</h1>"
        f'<p class="from">{escape(facts.made_on)} \u00b7 Fallkeeper {escape(facts.version)}</p></header>'
    )


def _said(content: ImportContent) -> list[str]:
    return [f"<p>{escape(sentence)}</p>" for sentence in content.said]


def _rows(title: str, groups: tuple[IssueGroup, ...], if_none: str) -> str:
    if not groups:
        return parts.section(title, f"<p>{escape(if_none)}</p>")
    return parts.section(title, *(_group(group) for group in groups))


def _group(group: IssueGroup) -> str:
    remedy = f"<p>{escape(group.remedy)}</p>" if group.remedy else ""
    shown = len(group.rows.rows)
    more = f'<p class="shown">Shown {shown} of {group.total:,}, {_WHERE}.</p>' if group.total > shown else ""
    return (
        f'<article class="group"><h3>{escape(group.title)} {plural(group.total, "row")}.</h3>{remedy}'
        f"{parts.words_table(group.rows)}{more}</article>"
    )


def _data(content: ImportContent) -> list[tuple[str, str]]:
    facts = content.facts
    return [
        *facts.more,
        ("Coordinates of the file", facts.crs or "not known"),
        ("Vertical datum", facts.vertical_datum or "not known"),
        ("Units", ", ".join((facts.units.length_name, facts.units.diameter_name))),
        ("Made on", facts.made_on),
        ("Made by", f"Fallkeeper {facts.version}"),
    ]
