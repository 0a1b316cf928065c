"""Texts of a drawing: each kept in the note of the line it stands beside, the rest told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely

from .draft import Draft, joined_note
from .setting import Setting
from .source import SourceLayer

TEXT_FIELD = "Text"


def text_rows(layer: SourceLayer) -> np.ndarray:
    """Mask of the rows that are texts of a drawing."""
    if TEXT_FIELD not in layer.values:
        return np.zeros(len(layer), dtype=bool)
    point = shapely.get_dimensions(layer.shapes) == 0
    return point & pd.notna(layer.values[TEXT_FIELD])


def keep_texts(layer: SourceLayer, rows: np.ndarray, drains: Sequence[Draft], setting: Setting) -> int:
    """Put texts into the notes of the nearest lines within the limit text_reach; returns how many found one."""
    lines = np.concatenate([draft.shapes for draft in drains] or [np.empty(0, dtype=object)])
    texts = layer.values[TEXT_FIELD][rows]
    if not len(lines):
        setting.issues.add("text-alone", layer, rows, _told(texts))
        return 0
    reach = setting.limits["text_reach"] / setting.plan_m
    text, line = shapely.STRtree(lines).query_nearest(
        shapely.force_2d(layer.shapes[rows]), max_distance=reach, all_matches=False
    )
    alone = np.setdiff1d(np.arange(len(rows)), text)
    setting.issues.add("text-alone", layer, rows[alone], _told(texts[alone]))
    owner = np.repeat(np.arange(len(drains)), [len(draft) for draft in drains])
    start = np.cumsum([0] + [len(draft) for draft in drains])
    for one, place in zip(text.tolist(), line.tolist()):
        draft, row = drains[owner[place]], place - start[owner[place]]
        note = draft.values["note"]
        note[row] = joined_note(f"Text beside it: '{texts[one]}'.", note[row])
    return len(text)


def _told(texts: np.ndarray) -> np.ndarray:
    return np.array([f"'{str(words)[:60]}'" for words in texts], dtype=object)
