"""From the plan of an import to the content of its page."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from ..importing.issues import DOUBTFUL, LEFT_OUT, REMARK
from ..importing.plan import ImportPlan
from ..importing.read_fields import FieldRead, as_text
from ..importing.read_values import GUESS, SURE, UNREAD
from ..schema import layer as schema_layer
from ..schema.values import VALUE_LISTS
from ..units import Units
from .content import Caution, Facts, Figure, Table
from .markup import plural, show_number

ROWS_SHOWN, ENTRIES_SHOWN = 12, 40
_NEVER = "Nothing."
_HOW = {"said": "you said so", "archive": "the archive's own name", "guess": "by its name"}
_UNIT_HOW = {
    "said": "you said so", "field name": "by the field's name", "archive form": "the file says so",
    "guess": "not known: a guess", "written beside": "written beside each",
}  # fmt: skip
_WORD_HOW = {SURE: "sure", GUESS: "a guess", UNREAD: "not known, kept in the note"}
_MEANINGS = {
    "depth": "Depth at both ends", "cover": "Cover, for the depth", "invert_up": "Invert upstream",
    "invert_down": "Invert downstream", "perforated": "Openings", "x": "x", "y": "y", "lon": "Longitude",
    "lat": "Latitude", "line": "Which line a point is of", "order": "Order of the points", "time": "Time",
    "day": "Day", "part": "Part of a line", "trip": "Which time over the same way",
    "z": "Height", "pipe_top": "Top of the pipe",
    "ground": "Ground", "invert": "Invert",
}  # fmt: skip

CAUTIONS = (
    Caution("A dry run is a promise about the file, not about the field",
            "What comes in is what somebody drew or logged. Whether pipe lies there, the ground tells."),
    Caution("Ask who made the file",
            "Units, datum and coordinate system are seldom written in a file. One call saves a wrong trench."),
    Caution("An import is no part of the archive yet",
            "It is a file of its own. Compare it with the archive, look at what would drain where, then accept it."),
)  # fmt: skip


@dataclass(frozen=True)
class IssueGroup:
    """Rows with one kind of fault: how many, what to do, and the first of them."""

    title: str
    remedy: str
    total: int
    rows: Table


@dataclass(frozen=True)
class ImportContent:
    """A page about an import. `sentences` are the verdict, the first is set big; `said` are about the file as a "
    "whole."""

    facts: Facts
    kind: str
    sentences: tuple[str, ...]
    counts: Table
    questions: Table
    map: Figure | None
    sums: Table
    fields: Table
    words: Table
    said: tuple[str, ...]
    doubtful: tuple[IssueGroup, ...]
    left_out: tuple[IssueGroup, ...]
    remarks: tuple[IssueGroup, ...]
    cautions: tuple[Caution, ...] = CAUTIONS


def import_content(
    plan: ImportPlan, facts: Facts, drawn: Figure | None, labels: Mapping[str, str], written: str = "",
    doubtful_taken: bool = False,
) -> ImportContent:
    """Everything the page shows; `written` is the file the rows went to, "" for a dry run. `labels`: what people read
    in the dialog for a parameter.
    """
    names = _names_of_rows(plan)
    return ImportContent(
        facts=facts,
        kind="Import" if written else "Dry run of an import",
        sentences=_sentences(plan, labels, written, doubtful_taken),
        counts=_counts(plan, bool(written), doubtful_taken),
        questions=_questions(plan, labels),
        map=drawn,
        sums=_sums(plan, facts.units),
        fields=_fields(plan),
        words=_words(plan),
        said=(*plan.said, *(f"Layer '{name}' was not taken: {why}." for name, why in plan.source.left)),
        doubtful=_groups(plan, names, DOUBTFUL),
        left_out=_groups(plan, names, LEFT_OUT),
        remarks=_groups(plan, names, REMARK),
    )


def _sentences(
    plan: ImportPlan, labels: Mapping[str, str], written: str, doubtful_taken: bool
) -> tuple[str, ...]:
    good, doubtful = plan.count("drains", doubtful=False), plan.count("drains", doubtful=True)
    drains = plural(good + (doubtful if doubtful_taken else 0), "drain")
    if written:
        first = f"{drains} written to {written}."
        rest = ["The file that was read is as it was. Compare the new one with the archive before you accept it."]
    elif plan.questions:
        first = f"Nothing is written yet: {plural(len(plan.questions), 'question is', 'questions are')} open."
        rest = [f"Answer {'it' if len(plan.questions) == 1 else 'them'} and run again. By what is taken meanwhile, "
                f"{drains} can come in."]  # fmt: skip
    elif good + doubtful:
        first = f"Nothing is written yet. {drains} can come in."
        rest = [f"Look at the map and the tables; if they are right, run again with '{labels['WRITE']}'."]
    else:
        first = "There is nothing in the file that can come in."
        rest = ["See below why, row by row."]
    if doubtful:
        rest.append(
            f"{plural(doubtful, 'drain is', 'drains are')} doubtful and "
            + ("came in all the same, as you said." if written and doubtful_taken else
               "stayed out." if written else f"will stay out unless you tick '{labels['TAKE_DOUBTFUL']}'.")
        )  # fmt: skip
    if plan.left_out:
        rest.append(f"{plural(plan.left_out, 'row of the file does', 'rows of the file do')} not come in.")
    return (first, *rest)


def _counts(plan: ImportPlan, written: bool, doubtful_taken: bool) -> Table:
    rows = []
    for target, words in (("drains", "Drains"), ("structures", "Structures"), ("shots", "Level shots")):
        good, doubtful = plan.count(target, doubtful=False), plan.count(target, doubtful=True)
        if good + doubtful:
            rows.append((words, f"{good + doubtful:,}", f"{doubtful:,}" if doubtful else "none"))
    heading = "Written" if written and doubtful_taken else "Found in the file"
    return Table(("", heading, "of them doubtful"), tuple(rows), "Nothing can come in.")


def _questions(plan: ImportPlan, labels: Mapping[str, str]) -> Table:
    rows = tuple((one.sentence, _in_dialog(one.parameter, labels), one.meanwhile) for one in plan.questions)
    return Table(("Question", "Say it with", "Taken meanwhile"), rows, "No question is open.")


def _in_dialog(words: str, labels: Mapping[str, str]) -> str:
    """Names of parameters with what stands in the dialog."""
    return re.sub(r"[A-Z][A-Z_]+", lambda found: f"{labels[found[0]]} ({found[0]})" if found[0] in labels else found[0],
                  words)  # fmt: skip


def _sums(plan: ImportPlan, units: Units) -> Table:
    length_m = plan.setting.plan_m
    roles, rows = VALUE_LISTS["role"], []
    for one in plan.sums:
        length = one.length * length_m / units.length_m
        known = one.diameter == one.diameter
        size = show_number(one.diameter, units.diameter_name) if known else "not known"
        doubtful = f"{one.doubtful:,}" if one.doubtful else "none"
        rows.append((roles[one.role], size, f"{one.count:,}", f"{length:,.0f} {units.length_name}", doubtful))
    if len(rows) > 1:
        total = sum(one.length for one in plan.sums) * length_m / units.length_m
        rows.append(("Together", "", f"{sum(one.count for one in plan.sums):,}", f"{total:,.0f} {units.length_name}",
                     f"{sum(one.doubtful for one in plan.sums):,}"))  # fmt: skip
    return Table(("Role", "Inside diameter", "Drains", "Length", "of them doubtful"), tuple(rows),
                 "No drain can come in.")


def _fields(plan: ImportPlan) -> Table:
    rows, unused = [], []
    for columns in plan.columns:
        for read in columns.fields:
            rows.append(_field_row(read, len(plan.source.layers) > 1))
        unused += [(columns.layer.name, name) for name in columns.kept
                   if name not in {read.match.source for read in columns.fields}]  # fmt: skip
    for name, field in unused:
        own = f"{name}: {field}" if len(plan.source.layers) > 1 else field
        rows.append((own, "", "no field of the archive: kept in the note", "", "", ""))
    headings = ("Field of the file", "First entry", "Taken for", "How sure", "Unit", "Not read")
    return Table(headings, tuple(rows), "The file has no fields.")


def _field_row(read: FieldRead, named: bool) -> tuple[str, ...]:
    match = read.match
    own = match.source or f"'{match.constant}' for every row"
    unit = f"{read.unit} ({_UNIT_HOW.get(read.unit_how, read.unit_how)})" if read.unit else ""
    return (
        f"{read.layer}: {own}" if named else own, read.example, meaning_words(match.meaning), _HOW[match.how], unit,
        f"{read.unread:,}" if read.unread else "none",
    )  # fmt: skip


def meaning_words(meaning: str) -> str:
    """What people read for a meaning."""
    if meaning in _MEANINGS:
        return _MEANINGS[meaning]
    for target in ("drains", "structures", "shots"):
        for field in schema_layer(target).fields:
            if field.name == meaning:
                return field.alias
    return meaning.replace("_", " ")


def _words(plan: ImportPlan) -> Table:
    order = (UNREAD, GUESS, SURE)
    found = [
        (order.index(word.how), meaning, word)
        for columns in plan.columns for meaning, words in columns.words.items() for word in words
    ]  # fmt: skip
    found.sort(key=lambda one: (one[0], one[1], -one[2].count))
    lists = {"status": "drain_status", "kind": "structure_kind", "of": "shot_of"}
    rows = [
        (meaning_words(meaning), word.entry[:60], VALUE_LISTS[lists.get(meaning, meaning)].get(word.value, "nothing"),
         _WORD_HOW[word.how], f"{word.count:,}")
        for _, meaning, word in found[:ENTRIES_SHOWN]
    ]  # fmt: skip
    if len(found) > ENTRIES_SHOWN:
        rows.append(("", f"and {len(found) - ENTRIES_SHOWN:,} entries more", "", "", ""))
    return Table(("Field", "Entry in the file", "Taken for", "How sure", "Rows"), tuple(rows),
                 "No field holds entries of a list.")  # fmt: skip


def _names_of_rows(plan: ImportPlan) -> dict[str, dict[int, str]]:
    """Layer -> number of a row -> its key or name in the file, for layers that have them."""
    found: dict[str, dict[int, str]] = {layer.name: {} for layer in plan.source.layers}
    for columns in plan.columns:
        sources = {read.match.meaning: read.match.source for read in columns.fields}
        field = next((sources[one] for one in ("name", "drain_id", "structure_id", "shot_id") if sources.get(one)), "")
        if field in columns.layer.values:
            texts = as_text(columns.layer.values[field])
            found[columns.layer.name] = {n: t for n, t in zip(columns.layer.number.tolist(), texts) if t is not None}
    return found


def _groups(plan: ImportPlan, names: Mapping[str, Mapping[int, str]], state: str) -> tuple[IssueGroup, ...]:
    """One group a kind of fault, in the order in which they were found."""
    kinds = list(dict.fromkeys(issue.kind for issue in plan.issues if issue.kind.state == state))
    groups = []
    for kind in kinds:
        own = [issue for issue in plan.issues if issue.kind is kind]
        rows = [
            (f"{issue.layer}, {issue.row_word} {number}" if len(names) > 1 else f"{issue.row_word} {number}",
             names.get(issue.layer, {}).get(number, ""), str(detail))
            for issue in own for number, detail in zip(issue.number[:ROWS_SHOWN].tolist(), issue.detail[:ROWS_SHOWN])
        ][:ROWS_SHOWN]  # fmt: skip
        shown = [place for place in range(3) if place == 0 or any(row[place] for row in rows)]
        headings = tuple(("Row of the file", "Key or name", "Reason")[place] for place in shown)
        rows = [tuple(row[place] for place in shown) for row in rows]
        remedy = "" if kind.remedy == _NEVER else kind.remedy
        groups.append(IssueGroup(kind.title, remedy, sum(len(issue) for issue in own), Table(headings, tuple(rows),
                                                                                             "")))
    return tuple(groups)


def extent_words(plan: ImportPlan, units: Units) -> str:
    """How far the drains that are not doubtful reach, and from where."""
    shapes = [draft.shapes[~draft.doubtful] for draft in plan.rows_for("drains")]
    if not sum(map(len, shapes)):
        return "nothing that is sure of its place"
    box = shapely.total_bounds(np.concatenate(shapes))
    size = plan.setting.plan_m / units.length_m
    across, down = (box[2] - box[0]) * size, (box[3] - box[1]) * size
    return (f"{across:,.0f} by {down:,.0f} {units.length_name}; x {box[0]:,.0f} to {box[2]:,.0f}, y {box[1]:,.0f} to "
            f"{box[3]:,.0f}")  # fmt: skip
