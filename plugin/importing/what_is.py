"""What the rows of a layer are: lines of pipe, structures, level shots, points of a log, or nothing that is taken."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from .guess_fields import match_fields
from .issues import Question
from .read_values import read_values, read_word
from .setting import Setting
from .source import SourceLayer

LINES, LOG, STRUCTURES, SHOTS, NOTHING = "lines", "log", "structures", "shots", ""
_MOST_OF_A_LAYER = 0.5
_ARCHIVE_LAYERS = {"drains": LINES, "structures": STRUCTURES, "shots": SHOTS}


def kinds_of_rows(layer: SourceLayer, rows: np.ndarray, setting: Setting) -> dict[str, np.ndarray]:
    """Kind -> rows, of some rows of the layer. Those of NOTHING are points nobody can tell the meaning of."""
    dimension = shapely.get_dimensions(layer.shapes)
    dimension[shapely.is_missing(layer.shapes)] = -1
    points = rows[dimension[rows] == 0]
    others = rows[dimension[rows] != 0]
    if not len(points):
        return {LINES: others} if len(others) else {}
    kind = _ARCHIVE_LAYERS.get(layer.name.lower(), "") if layer.fields_sure else ""
    kind = kind or _kind_of_points(layer, points, layer.beside_lines or bool((dimension > 0).any()), setting)
    drawn = others[dimension[others] >= 1]
    return {key: rows for key, rows in ((LINES, drawn), (kind, np.union1d(points, np.setdiff1d(others, drawn))))
            if len(rows)}  # fmt: skip


def _kind_of_points(layer: SourceLayer, points: np.ndarray, with_lines: bool, setting: Setting) -> str:
    said = setting.answers.points
    if said and not (layer.beside_lines and said == "lines"):
        return {"lines": LOG, "structures": STRUCTURES, "shots": SHOTS, "none": NOTHING}[said]
    # a drawing holds all kinds of marks beside its lines; a layer of points is of one kind
    share = 0.0 if with_lines else _MOST_OF_A_LAYER
    if _says_kinds(layer, "structures", "kind", points, share, setting) or read_word("structure_kind", layer.name,
                                                                                     {})[0]:
        return STRUCTURES
    if not with_lines and _says_kinds(layer, "shots", "of", points, share, setting):
        return SHOTS
    if not with_lines and looks_like_log(layer, setting):
        return LOG
    if not with_lines:
        setting.issues.ask(Question(
            "POINTS", f"What are the points of '{layer.name}' ({len(points):,}): points of lines in order, structures, "
            "or "
            "level shots?", "POINTS", "they are left out",
        ))
    return NOTHING


def _says_kinds(
    layer: SourceLayer, target: str, meaning: str, points: np.ndarray, share: float, setting: Setting
) -> bool:
    """Whether that share of the points, one at least, name a kind of the archive's list."""
    matches = match_fields(layer, target, setting.fields_told(target, layer.values), setting.answers.values)
    match = next((match for match in matches if match.meaning == meaning), None)
    if match is None:
        return False
    if match.constant:
        return True
    list_name = "structure_kind" if target == "structures" else "shot_of"
    entries = layer.values[match.source][points]
    read = read_values(list_name, entries, setting.answers.values.get(meaning))
    return bool(pd.notna(read.value).sum() >= max(share * len(points), 1))


def looks_like_log(layer: SourceLayer, setting: Setting) -> bool:
    """Whether the points come with a line, an order or a time of their own."""
    matches = match_fields(layer, "points", setting.fields_told("points", layer.values))
    found = {match.meaning: match for match in matches if match.source}
    if {"time", "part", "order"} & set(found) or {"depth", "cover", "invert"} & set(found) and len(layer) > 2:
        return True
    if "line" not in found:
        return False
    line = pd.Series(layer.values[found["line"].source])
    return bool(line.notna().any() and line.nunique() * 2 <= line.notna().sum())
