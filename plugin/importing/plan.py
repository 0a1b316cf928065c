"""What an import would bring into an archive, and what stands in its way. Nothing is written here."""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath

import numpy as np

from ..schema.values import VALUE_LISTS
from .answers import check_meaning
from .draft import Draft
from .drawing_texts import keep_texts, text_rows
from .guess_fields import FieldMapError
from .issues import DOUBTFUL, LEFT_OUT, Issue, Question
from .places import Whereabouts, doubt_places, without_place
from .read_fields import Columns
from .setting import Setting
from .source import Source, SourceLayer
from .sums import RoleSum, sums_by_role
from .take_lines import take_lines
from .take_log import take_log
from .take_points import take_shots, take_structures
from .what_is import LINES, LOG, SHOTS, STRUCTURES, kinds_of_rows

ROLES = tuple(VALUE_LISTS["role"])


@dataclass(frozen=True)
class ImportPlan:
    """`drafts` are rows for the archive's layers, `layout` the row about the import itself, `sums` its drains in short.

    As long as `questions` are open nothing is to be written.
    """

    source: Source
    setting: Setting
    drafts: tuple[Draft, ...]
    columns: tuple[Columns, ...]
    issues: tuple[Issue, ...]
    questions: tuple[Question, ...]
    sums: tuple[RoleSum, ...]
    layout: dict[str, object]
    texts_kept: int
    said: tuple[str, ...]

    def rows_for(self, target: str) -> list[Draft]:
        return [draft for draft in self.drafts if draft.target == target and len(draft)]

    def count(self, target: str, doubtful: bool | None = None) -> int:
        """Rows for a layer of the archive; `doubtful` only those that are or are not."""
        return sum(
            len(draft) if doubtful is None else int((draft.doubtful == doubtful).sum())
            for draft in self.rows_for(target)
        )

    def faults(self, state: str) -> int:
        """Faults of rows of a state (left out, doubtful, remark)."""
        return sum(len(issue) for issue in self.issues if issue.kind.state == state)

    @property
    def left_out(self) -> int:
        return self.faults(LEFT_OUT)

    @property
    def doubts(self) -> int:
        return self.faults(DOUBTFUL)


def make_plan(
    source: Source,
    where: Sequence[Whereabouts],
    setting: Setting,
    today: datetime.date,
    report: Callable[[float], None] = lambda share: None,
) -> ImportPlan:
    """Read every layer of `source`, whose shapes lie in the plan; `where` says for each where it can lie.

    Raises FieldMapError where the field map names what no layer has.
    """
    check_field_map(source, setting)
    drafts: list[Draft] = []
    columns: list[Columns] = []
    taken: dict[str, set[str]] = {}
    texts = 0
    for place, (layer, own) in enumerate(zip(source.layers, where)):
        layer = replace(layer, doubtful=doubt_places(layer, own, setting))
        made, read, kept = _take(layer, setting, taken)
        drafts, columns, texts = [*drafts, *made], [*columns, *read], texts + kept
        report((place + 1) / len(source.layers))
    for draft in drafts:
        draft.fill("note", None)
    layout = layout_row(source, setting, today)
    for draft in drafts:
        if draft.target == "drains":
            draft.values["layout_id"] = np.full(len(draft), layout["layout_id"], dtype=object)
    issues = setting.issues
    return ImportPlan(source, setting, tuple(drafts), tuple(columns), tuple(issues.found),
                      tuple(issues.questions.values()), sums_by_role(drafts, ROLES), layout, texts,
                      (*source.said, *issues.said))  # fmt: skip


def _take(
    layer: SourceLayer, setting: Setting, taken: dict[str, set[str]]
) -> tuple[list[Draft], list[Columns], int]:
    drafts: list[Draft] = []
    read: list[Columns] = []
    texts, lost = text_rows(layer), without_place(layer, setting)
    for kind, rows in kinds_of_rows(layer, np.flatnonzero(~texts & ~lost), setting).items():
        if kind in (LINES, LOG):
            made, columns = (take_lines if kind == LINES else take_log)(layer, rows, setting, taken)
            drafts += made
            read.append(columns)
        elif kind in (STRUCTURES, SHOTS):
            draft, columns = (take_structures if kind == STRUCTURES else take_shots)(layer, rows, setting, taken)
            drafts.append(draft)
            read.append(columns)
        else:
            setting.issues.add("unknown-point", layer, rows)
    drains = [draft for draft in drafts if draft.target == "drains"]
    kept = keep_texts(layer, np.flatnonzero(texts), drains, setting) if texts.any() else 0
    return drafts, read, kept


def layout_row(source: Source, setting: Setting, today: datetime.date) -> dict[str, object]:
    """The row of `layouts` every drain of this import points to."""
    answers, name = setting.answers, PurePath(source.path).name
    error_m = answers.position_error_m
    datum = f" Elevations count from {setting.datum}." if setting.datum else ""
    return {
        "layout_id": str(uuid.uuid4()),
        "name": name,
        "made_by": answers.made_by or None,
        "made_on": answers.made_on or None,
        "source_kind": answers.source_kind or source.format,
        "scan": None,
        "position_error": None if np.isnan(error_m) else error_m / setting.units.length_m,
        "note": f"Taken in on {today.isoformat()} from {name}.{datum}",
    }


def check_field_map(source: Source, setting: Setting) -> None:
    """FieldMapError unless every field that was said stands in some layer."""
    fields = {name.lower() for layer in source.layers for name in layer.values}
    for target, told in setting.answers.fields.items():
        for meaning, own in told.items():
            check_meaning(target, meaning)
            if own and own[:1] not in "'\"" and own.lower() not in fields:
                there = ", ".join(dict.fromkeys(name for layer in source.layers for name in layer.values))
                raise FieldMapError(
                    f"The field map takes '{meaning}' from '{own}', which the file does not have: it has "
                    f"{there or 'no fields'}. A value for every row stands in quotes."
                )
