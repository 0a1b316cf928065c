"""Rows on their way into one layer of an archive: values in output units, shapes in the plan, keys and notes."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..schema import layer as schema_layer
from .issues import Issues
from .read_fields import Columns, as_text
from .source import SourceLayer

KEPT = "From the file: "
_DECODER = json.JSONDecoder()


@dataclass
class Draft:
    """Rows for the layer `target`. `row` is the row of the file each came from (of a log the first of its points).

    `values`: field of the archive -> figures with NaN, or words with None. `doubtful` rows are only written if the
    user takes them all the same.
    """

    target: str
    layer: SourceLayer
    row: np.ndarray
    shapes: np.ndarray
    values: dict[str, np.ndarray]
    doubtful: np.ndarray

    def __len__(self) -> int:
        return len(self.row)

    def part(self, rows: np.ndarray) -> Draft:
        """Some rows, by mask."""
        values = {name: column[rows] for name, column in self.values.items()}
        return Draft(self.target, self.layer, self.row[rows], self.shapes[rows], values, self.doubtful[rows])

    def fill(self, name: str, value: object) -> None:
        """Put a value, or one a row, where a field has none."""
        if name not in self.values:
            figure = schema_layer(self.target).field(name).kind in ("real", "integer", "boolean")
            self.values[name] = np.full(len(self), np.nan) if figure else np.full(len(self), None, dtype=object)
        empty = pd.isna(self.values[name])
        self.values[name] = self.values[name].copy()
        self.values[name][empty] = value[empty] if isinstance(value, np.ndarray) else value

    def known(self, name: str) -> np.ndarray:
        """Which rows have a value."""
        return pd.notna(self.values[name]) if name in self.values else np.zeros(len(self), dtype=bool)


def draft_of(target: str, columns: Columns, row: np.ndarray, shapes: np.ndarray) -> Draft:
    """Rows of the file as rows of `target`, with the columns that are fields of it."""
    own = {field.name for field in schema_layer(target).fields}
    values = {name: values[row] for name, values in columns.values.items() if name in own}
    doubtful = columns.doubtful[row].copy()
    if columns.layer.doubtful is not None:
        doubtful |= columns.layer.doubtful[row]
    return Draft(target, columns.layer, row, shapes, values, doubtful)


def give_keys(draft: Draft, issues: Issues, taken: dict[str, set[str]], parts: np.ndarray | None = None) -> None:
    """Keys as brought, made unique by a number; new ones where a row brings none.

    `taken` are keys used before, by layer of the archive; it grows. `parts` numbers the parts of one row, which share
    its key and get their number without being told.
    """
    name, used = schema_layer(draft.target).key.name, taken.setdefault(draft.target, set())  # type: ignore[union-attr]
    draft.fill(name, None)
    keys = draft.values[name]
    missing = pd.isna(keys)
    keys[missing] = [str(uuid.uuid4()) for _ in range(int(missing.sum()))]
    again = pd.Series(keys).duplicated().to_numpy() | pd.Series(keys).isin(used).to_numpy()
    used |= set(keys[~again])
    for place in np.flatnonzero(again).tolist():
        key, part = keys[place], 1 if parts is None else int(parts[place])
        number = max(part, 2)
        while f"{key} ({number})" in used:
            number += 1
        keys[place] = f"{key} ({number})"
        used.add(keys[place])
        if part < 2:
            issues.add("key-twice", draft.layer, draft.row[[place]], f"'{key}' became '{keys[place]}'.")


def write_notes(draft: Draft, columns: Columns, more: Mapping[int, str] | None = None) -> None:
    """The note of each row: what it brought, what is added by draft row (`more`), what was kept of other fields."""
    draft.fill("note", None)
    note = draft.values["note"]
    for place, words in (more or {}).items():
        note[place] = joined_note(note[place], words)
    kept = {name: rows[draft.row] for name, rows in columns.kept.items() if rows[draft.row].any()}
    if not kept:
        return
    texts = {name: as_text(draft.layer.values[name])[draft.row] for name in kept}
    cells = [np.where(rows, texts[name], None).tolist() for name, rows in kept.items()]
    for place, row in enumerate(zip(*cells)):
        held = {name: value for name, value in zip(kept, row) if value is not None}
        if held:
            note[place] = joined_note(note[place], KEPT + json.dumps(held, ensure_ascii=False))


def joined_note(note: str | None, words: str | None) -> str | None:
    """Two notes as one, either of which may be empty."""
    if not words:
        return note
    return f"{note}{'' if note.endswith('.') else '.'} {words}" if note else words


def kept_in(note: str | None) -> dict[str, str]:
    """Fields of the file that a note keeps, by their names there."""
    _, sign, rest = (note or "").partition(KEPT)
    if not sign:
        return {}
    try:
        held, _ = _DECODER.raw_decode(rest)
    except ValueError:
        return {}
    return held if isinstance(held, dict) else {}
