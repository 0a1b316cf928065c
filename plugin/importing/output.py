"""The rows an import writes, by layer of the archive: doubtful ones only if the user takes them, with their reasons."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..schema import layer as schema_layer
from .draft import Draft, joined_note
from .issues import DOUBTFUL, LEFT_OUT, Issue
from .plan import ImportPlan
from .read_fields import as_text

TARGETS = ("drains", "structures", "shots")


@dataclass(frozen=True)
class RowsOut:
    """Columns by field of the archive (NaN or None where unknown) with shapes in the plan; None for a table."""

    columns: dict[str, np.ndarray]
    shapes: np.ndarray | None

    def __len__(self) -> int:
        return len(next(iter(self.columns.values()))) if self.columns else 0


def rows_out(plan: ImportPlan, take_doubtful: bool) -> dict[str, RowsOut]:
    """Rows for each layer that gets any; the row about the layout among them."""
    reasons = _reasons(plan.issues) if take_doubtful else {}
    found = {}
    for target in TARGETS:
        drafts = [_fit(draft, take_doubtful, reasons) for draft in plan.rows_for(target)]
        drafts = [draft for draft in drafts if len(draft)]
        if drafts:
            found[target] = _together(drafts)
    layout = {
        name: np.array([np.nan if value is None else value], dtype=float) if name == "position_error"
        else np.array([value], dtype=object) for name, value in plan.layout.items()
    }  # fmt: skip
    return {**found, "layouts": RowsOut(layout, None)}


def _fit(draft: Draft, take_doubtful: bool, reasons: dict[tuple[str, int], list[str]]) -> Draft:
    if not take_doubtful:
        return draft.part(~draft.doubtful)
    note = draft.values["note"].copy()
    for place in np.flatnonzero(draft.doubtful).tolist():
        told = reasons.get((draft.layer.name, int(draft.layer.number[draft.row[place]])), [])
        words = f"Doubtful when taken in: {' '.join(dict.fromkeys(told)) or 'see the report.'}"
        note[place] = joined_note(words, note[place])
    return Draft(draft.target, draft.layer, draft.row, draft.shapes, {**draft.values, "note": note}, draft.doubtful)


def _reasons(issues: tuple[Issue, ...]) -> dict[tuple[str, int], list[str]]:
    found: dict[tuple[str, int], list[str]] = {}
    for issue in issues:
        if issue.kind.state == DOUBTFUL:
            for number in issue.number.tolist():
                found.setdefault((issue.layer, number), []).append(issue.kind.title)
    return found


def _together(drafts: list[Draft]) -> RowsOut:
    """Drafts one after the other; a field one of them lacks is unknown there."""
    names = dict.fromkeys(name for draft in drafts for name in draft.values)
    columns = {}
    for name in names:
        figure = schema_layer(drafts[0].target).field(name).kind in ("real", "integer", "boolean")
        unknown = np.nan if figure else None
        parts = [
            draft.values[name] if name in draft.values else np.full(len(draft), unknown,
                                                                    dtype=float if figure else object)
            for draft in drafts
        ]
        columns[name] = np.concatenate([np.asarray(part, dtype=float if figure else object) for part in parts])
    return RowsOut(columns, np.concatenate([draft.shapes for draft in drafts]))


def doubts_table(plan: ImportPlan) -> dict[str, np.ndarray]:
    """Every row that was told, with why and what to do; rows that do not come in with all they hold, as JSON."""
    held = {layer.name: layer for layer in plan.source.layers}
    parts = []
    for issue in plan.issues:
        layer = held.get(issue.layer)
        entries = np.full(len(issue), None, dtype=object)
        if layer is not None and issue.kind.state in (LEFT_OUT, DOUBTFUL):
            rows = pd.Index(layer.number).get_indexer(issue.number)
            texts = {name: as_text(column[rows]).tolist() for name, column in layer.values.items()}
            entries[:] = [
                json.dumps({name: value for name, value in zip(texts, row) if value is not None}, ensure_ascii=False)
                for row in zip(*texts.values())
            ] if texts else None
        parts.append(pd.DataFrame({
            "layer": issue.layer, "row": issue.number.astype(float), "row_word": issue.row_word,
            "state": issue.kind.state, "what": issue.kind.title, "detail": issue.detail, "remedy": issue.kind.remedy,
            "entries": entries,
        }))  # fmt: skip
    if not parts:
        return {name: np.array([], dtype=float if name == "row" else object) for name in DOUBTS}
    table = pd.concat(parts, ignore_index=True)
    return {name: table[name].to_numpy(dtype=float if name == "row" else object) for name in DOUBTS}


DOUBTS = {"layer": "text", "row": "integer", "row_word": "text", "state": "text", "what": "text", "detail": "text",
          "remedy": "text", "entries": "text"}  # fmt: skip
DOUBTS_ALIASES = {"layer": "Layer of the file", "row": "Row", "row_word": "Counted as", "state": "State",
                  "what": "What",
                  "detail": "Reason", "remedy": "What to do", "entries": "What the row holds"}  # fmt: skip
