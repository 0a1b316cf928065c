"""Drawn lines of a file as drains, and level shots where they carry heights."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from .draft import Draft, draft_of, give_keys, write_notes
from .drawn_lines import DrawnLines, draw_lines
from .ends import put_ends
from .guess_fields import Match, match_fields
from .issues import Issues, Question
from .levels import GROUND, INVERT, NOTHING, Levels, levels_along
from .quantity import read_figures
from .read_fields import Columns, in_units, read_fields
from .read_values import read_word
from .setting import Setting
from .source import SourceLayer

_METHOD_ERRORS = {"level": "error_level", "rtk": "error_rtk", "machine_log": "error_machine_log",
                  "probe": "error_probe"}


def take_lines(
    layer: SourceLayer, rows: np.ndarray, setting: Setting, taken: dict[str, set[str]]
) -> tuple[list[Draft], Columns]:
    """Some rows of a layer as drains and, where the lines carry heights, as shots. `taken` are keys used before."""
    matches = match_fields(layer, "drains", setting.fields_told("drains", layer.values), setting.answers.values)
    columns = read_fields(layer, "drains", matches, setting)
    put_ends(columns, setting)
    drawn = draw_lines(layer, rows, setting.issues)
    draft = draft_of("drains", columns, drawn.row, drawn.shapes)
    fill_drains(draft, columns.size, setting)
    levels = _levels(draft, drawn, setting)
    doubt_shapes(draft, setting.issues)
    give_keys(draft, setting.issues, taken, drawn.part)
    parts = {int(k): f"Part {drawn.part[k]} of {drawn.parts[k]}." for k in np.flatnonzero(drawn.parts > 1)}
    write_notes(draft, columns, parts)
    shots = shots_along(draft, levels, drawn.xy, setting, taken)
    known = tell_roles(draft, columns, setting)
    return [draft.part(known), shots.part(known[levels.shot_line])], columns


def fill_drains(draft: Draft, size: np.ndarray | None, setting: Setting) -> None:
    """What holds where the file says nothing: role by the layer's name, a size in the role's entry, and answers.

    `size` holds, by row of the file, a size with its unit out of the entry for the role, "" where there is none.
    """
    answers = setting.answers
    draft.fill("role", None)
    by_layer, _ = read_word("role", draft.layer.name, {})
    for role in (by_layer, answers.role):
        draft.fill("role", role or None)
    if size is not None:
        entry = size[draft.row]
        read = read_figures(np.where(entry == "", None, entry))
        draft.fill("diameter", in_units(read, "diameter", Match("diameter"), setting)[0])
    draft.fill("located_by", answers.located_by or None)
    if not np.isnan(answers.position_error_m):
        draft.fill("position_error", answers.position_error_m / setting.units.length_m)
    draft.fill("evidence", "drawn")


def tell_roles(draft: Draft, columns: Columns | None, setting: Setting) -> np.ndarray:
    """Which lines have a role, which an archive cannot do without; the others are told and asked about."""
    known = draft.known("role")
    if known.all():
        return known
    fields = [] if columns is None else columns.fields
    source = next((read.match.source for read in fields if read.match.meaning == "role"), "")
    rows = draft.row[~known]
    entries = draft.layer.values[source][rows] if source else np.full(len(rows), None)
    told = np.array([f"{source}: '{entry}'." if entry not in (None, "") else "" for entry in entries], dtype=object)
    setting.issues.add("unknown-role", draft.layer, rows, told)
    setting.issues.ask(Question(
        "ROLE", "What are the lines whose role the file does not say: laterals, submains, mains or outlet pipes?",
        "ROLE for all of them, or VALUE_MAP for entries of the file", "they are left out",
    ))
    return known


def height_error(setting: Setting, method: str = "") -> float:
    """Standard error of heights in output units: as said, else of the method; 0 where neither is known."""
    said_m, method = setting.answers.height_error_m, setting.answers.located_by or method
    if np.isnan(said_m):
        said_m = setting.limits[_METHOD_ERRORS[method]] if method in _METHOD_ERRORS else 0.0
    return said_m / setting.units.length_m


def _levels(draft: Draft, drawn: DrawnLines, setting: Setting) -> Levels:
    """Drawn heights as inverts and shots; asked about where nobody says what they are of."""
    of, known = setting.answers.heights, np.isfinite(drawn.z)
    if known.any() and not of:
        line = np.repeat(np.arange(len(drawn)), np.diff(drawn.first))
        setting.issues.ask(Question(
            "HEIGHTS", "The lines carry heights: are they of the invert, of the top of the pipe or of the ground?",
            "HEIGHTS", "they are left",
        ))
        setting.issues.add("heights-left", draft.layer, np.unique(draft.row[line[known]]))
    if not known.any() or of in ("", NOTHING):
        return levels_along(drawn.along, drawn.z, drawn.first, NOTHING, 0.0)
    setting.ask_about_datum()
    match = Match("z", "heights of the lines", unit=draft.layer.height_unit)
    z, _ = in_units(read_figures(drawn.z), "elevation", match, setting)
    along = drawn.along * setting.plan_m / setting.units.length_m
    levels = levels_along(along, z, drawn.first, of, height_error(setting))
    if of == INVERT:
        draft.fill("invert_start", levels.start)
        draft.fill("invert_end", levels.end)
    return levels


def shots_along(
    draft: Draft, levels: Levels, xy: np.ndarray, setting: Setting, taken: dict[str, set[str]], of: str = ""
) -> Draft:
    """Level shots on the drains of a draft; `xy` are places of the vertices the levels name."""
    line = levels.shot_line
    values = {
        "drain_id": draft.values["drain_id"][line],
        "elevation": levels.shot_z,
        "of": np.full(len(line), of or setting.answers.heights or GROUND, dtype=object),
    }
    shots = Draft("shots", draft.layer, draft.row[line], shapely.points(xy[levels.shot_vertex]), values,
                  draft.doubtful[line])  # fmt: skip
    error = height_error(setting)
    if error:
        shots.fill("error", error)
    give_keys(shots, setting.issues, taken)
    return shots


def doubt_shapes(draft: Draft, issues: Issues) -> None:
    """Mark lines that are there twice, in either direction, and lines that end where they begin."""
    if not len(draft):
        return
    same = pd.Series(shapely.to_wkb(shapely.normalize(draft.shapes)))
    again = same.duplicated().to_numpy()
    if again.any():
        first = pd.Series(draft.layer.number[draft.row]).groupby(same).transform("first").to_numpy()
        told = [f"The same as {draft.layer.row_word} {number}." for number in first[again]]
        issues.add("same-line", draft.layer, draft.row[again], np.array(told, dtype=object))
    closed = shapely.is_closed(draft.shapes)
    issues.add("closed-line", draft.layer, draft.row[closed])
    draft.doubtful |= again | closed
