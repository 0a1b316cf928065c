"""Points of a file as structures or level shots."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from .draft import Draft, draft_of, give_keys, write_notes
from .guess_fields import Match, match_fields
from .quantity import read_figures
from .read_fields import Columns, in_units, read_fields
from .read_values import read_word
from .setting import Setting
from .source import SourceLayer

_KEYS = {"structures": "kind", "shots": "of"}


def take_structures(
    layer: SourceLayer, rows: np.ndarray, setting: Setting, taken: dict[str, set[str]]
) -> tuple[Draft, Columns]:
    """Points of a kind that stands in the archive's list; the others are told."""
    columns = _read(layer, "structures", setting)
    rows = _with_place(layer, rows, setting)
    draft = draft_of("structures", columns, rows, _points(layer.shapes[rows]))
    by_layer, _ = read_word("structure_kind", layer.name, {})
    draft.fill("kind", by_layer or None)
    return _finished(draft, columns, draft.known("kind"), "unknown-point", setting, taken), columns


def take_shots(
    layer: SourceLayer, rows: np.ndarray, setting: Setting, taken: dict[str, set[str]]
) -> tuple[Draft, Columns]:
    """Points with an elevation; of the invert or whatever the file or the user says."""
    columns = _read(layer, "shots", setting)
    rows = _with_place(layer, rows, setting)
    draft = draft_of("shots", columns, rows, _points(layer.shapes[rows]))
    if "elevation" not in draft.values or not draft.known("elevation").any():
        draft.fill("elevation", _heights(layer, rows, setting))
    heights = setting.answers.heights
    draft.fill("of", heights if heights not in ("", "none") else None)
    levelled = draft.known("elevation")
    setting.issues.add("no-level", layer, rows[~levelled])
    draft = draft.part(levelled)
    return _finished(draft, columns, draft.known("of"), "unknown-point", setting, taken), columns


def _read(layer: SourceLayer, target: str, setting: Setting) -> Columns:
    return read_fields(layer, target, match_fields(layer, target, setting.fields_told(target, layer.values),
                                                   setting.answers.values), setting)


def _with_place(layer: SourceLayer, rows: np.ndarray, setting: Setting) -> np.ndarray:
    placed = np.isfinite(shapely.bounds(layer.shapes[rows])).all(axis=1)
    setting.issues.add("no-place", layer, rows[~placed])
    return rows[placed]


def _points(shapes: np.ndarray) -> np.ndarray:
    """In the plan; of several points in one row the first."""
    shapes = shapely.force_2d(shapes)
    several = shapely.get_type_id(shapes) == shapely.GeometryType.MULTIPOINT
    shapes[several] = shapely.get_geometry(shapes[several], 0)
    return shapes


def _heights(layer: SourceLayer, rows: np.ndarray, setting: Setting) -> np.ndarray:
    """Drawn heights of points, in output units."""
    z = shapely.get_z(layer.shapes[rows])
    known = np.isfinite(z) & (z != 0)
    if known.any():
        setting.ask_about_datum()
    match = Match("elevation", "heights of the points", unit=layer.height_unit)
    return in_units(read_figures(np.where(known, z, np.nan)), "elevation", match, setting)[0]


def _finished(
    draft: Draft, columns: Columns, known: np.ndarray, kind: str, setting: Setting, taken: dict[str, set[str]]
) -> Draft:
    """Keys and notes for the rows that are known; the others are told with their entry."""
    source = next((r.match.source for r in columns.fields if r.match.meaning == _KEYS[draft.target]), "")
    rows = draft.row[~known]
    entries = draft.layer.values[source][rows] if source else np.full(len(rows), None)
    told = np.array([f"{source}: '{entry}'." if not pd.isna(entry) else "" for entry in entries], dtype=object)
    setting.issues.add(kind, draft.layer, rows, told)
    draft = draft.part(known)
    give_keys(draft, setting.issues, taken)
    write_notes(draft, columns)
    return draft
