"""Pieces of HTML that both pages are made of. Every text is escaped here, drawings are taken as they are."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from ..checks.declare import FOUND, Severity
from ..limits import Limit
from ..units import Units
from .calls import style_of
from .content import Caution, Facts, Figure, Group, LineGroup, Missed, Row, Table
from .markup import NONE, escape, is_known, plural, show_number, show_probability
from .style import CSS

SEVERITY_MEANING = {
    Severity.SERIOUS: "water does not get out, or will not for long",
    Severity.DOUBT: "somebody has to look",
    Severity.NOTE: "good to know",
}

_DETAIL = "Detail"
_LONG_ID = 12  # a generated id is cut; its whole shows under the pointer and in the layer


def document(title: str, body: Iterable[str]) -> str:
    """A whole page in one file."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{CSS}</style>\n</head>\n<body>\n"
        + "\n".join(body)
        + "\n</body>\n</html>\n"
    )


def heading(kind: str, facts: Facts) -> str:
    return (
        f"<header><h1>{escape(kind)}: {escape(facts.title)}</h1>"
        f'<p class="from">{escape(facts.made_on)} \u00b7 {plural(facts.drains_read, "drain")} read \u00b7 '
        f"Fallkeeper {escape(facts.version)}</p></header>"
    )


def verdict(sentences: Sequence[str]) -> str:
    return f'<div class="verdict">{"".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)}</div>'


def section(title: str, *parts: str) -> str:
    return f"<section><h2>{escape(title)}</h2>{''.join(parts)}</section>"


def tag(severity: Severity) -> str:
    return f'<span class="tag {severity.value}">{severity.value.upper()}</span>'


def table(
    headings: Sequence[str],
    rows: Iterable[Sequence[str]],
    caption: str = "",
    numbers: Sequence[int] = (),
    kind: str = "",
) -> str:
    """A table of cells that are HTML already; `numbers` are the columns set to the right."""
    right = [' class="number"' if column in numbers else "" for column in range(len(headings))]
    right = [' class="long"' if word == _DETAIL else side for word, side in zip(headings, right)]
    head = "".join(f'<th scope="col"{side}>{escape(word)}</th>' for word, side in zip(headings, right))
    body = "".join(
        "<tr>" + "".join(f"<td{side}>{cell}</td>" for cell, side in zip(row, right)) + "</tr>" for row in rows
    )
    title = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f'<table class="{kind}">{title}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def words_table(content: Table, numbers: Sequence[int] = ()) -> str:
    """A table of plain words, or the sentence for an empty one; `numbers` are the columns set to the right."""
    if not content.rows:
        return f"<p>{escape(content.if_empty)}</p>"
    return table(content.headings, ([escape(cell) for cell in row] for row in content.rows), numbers=numbers)


def pairs(rows: Iterable[tuple[str, str]]) -> str:
    """Words and value, one under the other."""
    return "<dl>" + "".join(f"<dt>{escape(word)}</dt><dd>{escape(value)}</dd>" for word, value in rows) + "</dl>"


def figures(drawings: Sequence[Figure]) -> str:
    def one(figure: Figure) -> str:
        return f"<figure>{figure.svg}<figcaption>{escape(figure.caption)}</figcaption></figure>"

    wide = "".join(one(figure) for figure in drawings if figure.wide)
    small = "".join(one(figure) for figure in drawings if not figure.wide)
    return wide + (f'<div class="maps">{small}</div>' if small else "")


def group(found: Group, units: Units) -> str:
    """One check: what is wrong, what to do, when it is a false alarm, drawings of the worst, and where."""
    check = found.check
    mixed = ", ".join(f"{number:,} {severity.value}" for severity, number in found.severities)
    count = f"{plural(found.total, 'finding')} on {plural(found.drain_count, 'drain')}"
    count += f": {mixed}." if len(found.severities) > 1 else "."
    limits = [("Limit", limit_words(limit, units)) for limit in found.limits]
    facts = [("What to do", check.remedy), ("False alarm if", check.false_alarm), *limits, ("Judged by", check.source)]
    return (
        f'<article class="group" id="{escape(check.id)}">'
        f"<h3>{tag(found.severities[0][0])} {escape(check.title)}</h3>"
        f"<p>{count}</p>"
        f"{pairs(facts)}{figures(found.figures)}{rows_table(found, units)}</article>"
    )


def limit_words(limit: Limit, units: Units) -> str:
    return f"{limit_value(limit, units)}: {limit.meaning}. Source: {limit.shown_source}"


def limit_value(limit: Limit, units: Units) -> str:
    """The limit as it was set and, where that is another unit, in the archive's."""
    if limit.kind == "yes_no":
        return "yes" if limit.value else "no"
    own = f"{limit.value:g} {limit.unit}".strip()
    name = units.name(limit.kind)
    return own if limit.unit in (name, "") else f"{own} = {show_number(limit.si / units.size_si(limit.kind), name)}"


def rows_table(found: Group, units: Units) -> str:
    """The worst rows; columns nobody has a value for are left out. Says how many more there are and where."""
    kind, rows = found.check.kind, found.rows
    columns = [("Drain", False, [_drain(row) for row in rows])]
    columns += [("Where", False, [_unbroken(_place(row, units)) for row in rows])]
    if len(found.severities) > 1:
        columns += [("Severity", False, [row.severity.value for row in rows])]
    columns += [("Call", False, ["" if row.call == FOUND else _unbroken(style_of(row.call).words) for row in rows])]
    if kind:
        columns += [("Value", True, [_measured(row.value, kind, units) for row in rows])]
        columns += [("Limit", True, [_measured(row.limit, kind, units) for row in rows])]
    columns += [("Probability", True, [show_probability(row.probability) for row in rows])]
    columns += [(_DETAIL, False, [escape(row.detail) for row in rows])]
    shown = [column for column in columns if any(cell not in ("", NONE) for cell in column[2])]
    right = [place for place, column in enumerate(shown) if column[1]]
    body = zip(*(column[2] for column in shown))
    return table([column[0] for column in shown], body, numbers=right) + _how_many(found)


def _how_many(found: Group) -> str:
    layers = " and ".join(found.layers)
    where = f"in the layer {layers}" if len(found.layers) == 1 else f"in the layers {layers}"
    if found.total > len(found.rows):
        return f'<p class="shown">Shown {len(found.rows)} of {found.total:,}, all {escape(where)}.</p>'
    return f'<p class="shown">All {found.total:,} shown; also {escape(where)}.</p>'


def _drain(row: Row) -> str:
    if not row.name:
        return "on no drain"
    if row.drain_id in ("", row.name):
        return escape(row.name)
    short = row.drain_id if len(row.drain_id) <= _LONG_ID else row.drain_id[: _LONG_ID - 1] + "\u2026"
    return f'{escape(row.name)}<span class="id" title="{escape(row.drain_id)}">{escape(short)}</span>'


def _unbroken(words: str) -> str:
    return f'<span class="unbroken">{escape(words)}</span>'


def _place(row: Row, units: Units) -> str:
    if is_known(row.from_m):
        start, stop = units.show_station(row.from_m), units.show_station(row.to_m)
        return start if start == stop else f"{start} to {stop}"
    if not np.isfinite(row.xy_m).all():
        return NONE
    return "x {:,.0f}, y {:,.0f} {}".format(*(value / units.length_m for value in row.xy_m), units.length_name)


def _measured(value: float, kind: str, units: Units) -> str:
    return show_number(value / units.size_si(kind), units.name(kind))


def line_group(found: LineGroup) -> str:
    """Lines of a layout of one class: what is so, what is proposed, what to do, and which."""
    count = plural(found.total, "line")
    shown = len(found.lines.rows)
    rest = f"Shown {shown:,} of {found.total:,}; all are in the layer DECISIONS." if shown < found.total else ""
    return (
        f'<article class="group" id="{escape(found.id)}"><h3>{escape(found.title)}</h3>'
        + pairs((("Proposed", f"{found.decision} ({count})"), ("What to do", found.remedy)))
        + words_table(found.lines)
        + (f'<p class="shown">{rest}</p>' if rest else "") + "</article>"
    )


def missed(rows: Sequence[Missed], if_empty: str) -> str:
    if not rows:
        return f"<p>{escape(if_empty)}</p>"
    cells = [[escape(one.title), escape(one.why), _how_many_drains(one)] for one in rows]
    columns = 2 if all(one.drain_count is None for one in rows) else 3
    return table(("Not checked", "Why, and what would help", "Drains")[:columns], (row[:columns] for row in cells))


def _how_many_drains(one: Missed) -> str:
    if one.drain_count is None:
        return "all"
    more = one.drain_count - len(one.examples)
    names = ", ".join(one.examples) + (f" and {more:,} more" if more > 0 and one.examples else "")
    return f"{one.drain_count:,}" + (f'<span class="id">{escape(names)}</span>' if names else "")


def cautions(rows: Sequence[Caution]) -> str:
    items = "".join(f"<li><strong>{escape(one.title)}.</strong> {escape(one.text)}</li>" for one in rows)
    return f'<ul class="cautions">{items}</ul>'


def data(facts: Facts, limits: Sequence[Limit]) -> str:
    """Where the figures come from, and the limits in force."""
    units = facts.units
    foot = f"; 1 ft = {units.length_m:.9g} m" if units.is_us else ""
    rows = [
        ("Drains read", f"{facts.drains_read:,}"),
        *(("Not seen", sentence) for sentence in facts.filters),
        ("Coordinates", facts.crs or "unknown"),
        ("Vertical datum", facts.vertical_datum or "unknown: elevations may not be those of other maps"),
        ("Ground", facts.ground or "none given"),
        ("Units", ", ".join((units.length_name, units.diameter_name, units.area_name)) + foot),
        *facts.more,
        ("Made on", facts.made_on),
        ("Made by", f"Fallkeeper {facts.version}"),
    ]
    cells = (
        [escape(limit.meaning), escape(limit_value(limit, units)), escape(limit.shown_source)] for limit in limits
    )
    shown = table(("Limit", "Value", "Source, and how sure it is"), cells, "Limits in force") if limits else ""
    return pairs(rows) + shown
