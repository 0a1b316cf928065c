"""Points in the order they were logged as drains with inverts, depths and level shots.

The points become a layer of lines, thinned within the error of the place, which is then taken as any other; heights
and depths along the points are added to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from .along_runs import first_along, run_of, seconds, words_along
from .draft import Draft, joined_note
from .guess_fields import Match, has_no_meaning, match_fields
from .issues import Question
from .levels import GROUND, INVERT, NOTHING, PIPE_TOP, Levels, levels_along, profile_words
from .log_lines import Gaps, Log, Runs, build_runs
from .quantity import read_figures
from .read_fields import Columns, FieldRead, as_text, drop_minus, example, in_units, zeros_unknown
from .setting import Setting
from .source import SourceLayer
from .take_lines import height_error, shots_along, take_lines
from .thin import keep_in_plan

MACHINE_LOG = "machine_log"
# numbers a program gives to tracks: no key of a pipe
_ROW_NUMBERS = ("track_fid", "route_fid")
# words may change along a line, figures and kinds of pipe may not
_TEXTS = ("name", "note")
_GPX_HEIGHT = "ele"
_TURNS_BACK = np.cos(np.radians(150))


def take_log(
    layer: SourceLayer, rows: np.ndarray, setting: Setting, taken: dict[str, set[str]]
) -> tuple[list[Draft], Columns]:
    """Some rows of a layer of points as drains and shots along them. `taken` are keys used before."""
    layer = _only(layer, rows)
    matches = match_fields(layer, "points", setting.fields_told("points", layer.values))
    of = {match.meaning: match for match in matches if match.source}
    values = {meaning: layer.values[match.source] for meaning, match in of.items()}
    xy = shapely.get_coordinates(_placed(layer.shapes))
    runs = build_runs(_log(xy * setting.plan_m, values), _gaps(setting), setting.limits)
    _tell_points(layer, runs, setting)
    _ask_for_method(setting)
    lines = _line_layer(layer, xy, of, runs, setting)
    drafts, columns = take_lines(lines, np.arange(len(lines)), setting, taken)
    _doubt_runs(drafts[0], layer, runs, columns, setting)
    figures = {meaning: _figures(meaning, of, values, layer, setting, columns) for meaning in
               ("invert", "pipe_top", "ground", "z", "depth", "cover")}  # fmt: skip
    draft, along = drafts[0], _along(xy, runs) * setting.plan_m / setting.units.length_m
    _put_depths(draft, figures, along, runs, setting)
    drafts += _put_levels(draft, figures, xy, along, runs, setting, taken)
    _name_points(columns, matches, layer, setting)
    return drafts, columns


def _only(layer: SourceLayer, rows: np.ndarray) -> SourceLayer:
    values = {name: column[rows] for name, column in layer.values.items()}
    doubtful = None if layer.doubtful is None else layer.doubtful[rows]
    return SourceLayer(layer.name, values, layer.shapes[rows], layer.number[rows], layer.row_word, layer.crs,
                       layer.fields_sure, height_unit=layer.height_unit, doubtful=doubtful)  # fmt: skip


def _placed(shapes: np.ndarray) -> np.ndarray:
    """Points, with NaN where a row has no place, so that rows and coordinates are as many."""
    shapes = shapely.force_2d(shapes)
    missing = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    with np.errstate(invalid="ignore"):
        shapes[missing] = shapely.points(np.nan, np.nan)
    return shapes


def _log(xy_m: np.ndarray, values: Mapping[str, np.ndarray]) -> Log:
    count = len(xy_m)

    def words(meaning: str) -> np.ndarray:
        return as_text(values[meaning]) if meaning in values else np.full(count, None, dtype=object)

    order = read_figures(values["order"]).value if "order" in values else np.full(count, np.nan)
    return Log(xy_m, words("line"), words("part"), words("trip"), order,
               seconds(values.get("time"), values.get("day"), count))  # fmt: skip


def _gaps(setting: Setting) -> Gaps:
    return Gaps(setting.answers.gap_distance_m, setting.answers.gap_time_s)


def _tell_points(layer: SourceLayer, runs: Runs, setting: Setting) -> None:
    for kind, points in (("no-place", runs.no_place), ("jump", runs.jumped), ("lone-point", runs.alone),
                         ("repeated-point", runs.repeated)):  # fmt: skip
        setting.issues.add(kind, layer, points)


def _ask_for_method(setting: Setting) -> None:
    if not setting.answers.located_by:
        setting.issues.ask(Question(
            "LOCATED_BY", "What logged the points: the machine that laid the pipe, RTK, a level, a probe? The error of "
            "places and heights hangs on it.", "LOCATED_BY", "the machine's log",
        ))


def _along(xy: np.ndarray, runs: Runs) -> np.ndarray:
    """Distance of every used point from the first of its run, along the log, in units of the plan."""
    step = np.zeros(len(runs.point))
    step[1:] = np.hypot(*np.diff(xy[runs.point], axis=0).T)
    step[runs.first[:-1]] = 0.0
    total = np.cumsum(step)
    return total - np.repeat(total[runs.first[:-1]], np.diff(runs.first))


def _line_layer(
    layer: SourceLayer, xy: np.ndarray, of: Mapping[str, Match], runs: Runs, setting: Setting
) -> SourceLayer:
    """One row a run, thinned in the plan; columns nobody asked for are told in a few words."""
    error_m = setting.answers.position_error_m
    if np.isnan(error_m):
        error_m = height_error(setting, MACHINE_LOG) * setting.units.length_m
    kept = keep_in_plan(xy[runs.point], runs.first, error_m / setting.plan_m)
    shapes = np.empty(0, dtype=object)
    if len(runs):
        shapes = shapely.linestrings(xy[runs.point][kept], indices=run_of(runs)[kept])
    used = {match.source for match in of.values()}
    rest = [name for name in layer.values if name not in used and not has_no_meaning(name)]
    plain = SourceLayer(layer.name, {name: layer.values[name] for name in rest}, layer.shapes, layer.number)
    matches = match_fields(plain, "drains", setting.fields_told("drains", plain.values), setting.answers.values)
    meant = {match.source for match in matches if match.meaning not in _TEXTS}
    values = {
        name: first_along(layer.values[name], runs)[0] if name in meant else words_along(layer.values[name], runs)
        for name in rest
    }
    if "line" in of and of["line"].source not in _ROW_NUMBERS:
        values = {"drain_id": runs.line, **{name: own for name, own in values.items() if name != "drain_id"}}
    doubtful = None
    if layer.doubtful is not None:
        doubtful = np.bincount(run_of(runs), weights=layer.doubtful[runs.point], minlength=len(runs)) > 0
    return SourceLayer(layer.name, values, shapes, layer.number[runs.point[runs.first[:-1]]], layer.row_word,
                       layer.crs, doubtful=doubtful)  # fmt: skip


def _figures(
    meaning: str, of: Mapping[str, Match], values: Mapping[str, np.ndarray], layer: SourceLayer, setting: Setting,
    columns: Columns,
) -> np.ndarray:
    """A height or depth by point in output units, NaN where unknown; heights of the points themselves as `z`."""
    match = of.get(meaning)
    kind = "length" if meaning in ("depth", "cover") else "elevation"
    if match is None:
        z = shapely.get_z(layer.shapes) if meaning == "z" else np.full(len(layer), np.nan)
        match, read = Match("z", "heights of the points", unit=layer.height_unit), read_figures(z)
    else:
        read = read_figures(values[meaning])
    zero = zeros_unknown(meaning, read.value)
    read.value[zero] = np.nan
    drop_minus(match, read.value, setting)
    if not read.known.any() or (meaning == "z" and setting.answers.heights in ("", NOTHING)):
        return read.value  # heights nobody knows the meaning of need no unit
    if match.source == _GPX_HEIGHT:
        match = replace(match, unit=layer.height_unit)
    setting.issues.add("zero-unknown", layer, np.flatnonzero(zero), match.source)
    unread = np.flatnonzero(read.unread)
    told = np.array([f"{match.source}: '{entry}'" for entry in values[meaning][unread]] if len(unread) else [], object)
    setting.issues.add("figure-unread", layer, unread, told)
    figures, taken = in_units(read, kind, match, setting)
    if kind == "length":
        figures[figures < 0] = np.nan
    else:
        setting.ask_about_datum()
    unit, how = (taken.unit, taken.how) if taken else ("", "")
    first = example(values[meaning][read.known]) if meaning in values else ""
    columns.fields.append(FieldRead(layer.name, match, int(read.known.sum()), len(unread), first, unit, how))
    return figures


def _doubt_runs(draft: Draft, layer: SourceLayer, runs: Runs, columns: Columns, setting: Setting) -> None:
    """Mark earlier passes, lines that turn back on themselves and figures that change along a line."""
    earlier = runs.later[draft.row] >= 0
    first = layer.number[runs.point[runs.first[:-1]]]
    told = [f"Again from {layer.row_word} {first[later]} on." for later in runs.later[draft.row[earlier]]]
    setting.issues.add("earlier-pass", draft.layer, draft.row[earlier], np.array(told, dtype=object))
    back = _turn_back(draft.shapes)
    setting.issues.add("turns-back", draft.layer, draft.row[back])
    draft.doubtful |= earlier | back
    for read in columns.fields:
        source = read.match.source
        if source in layer.values and read.match.meaning not in _TEXTS:
            _, changes = first_along(as_text(layer.values[source]), runs)
            changed = changes[draft.row]
            setting.issues.add("changes-along", draft.layer, draft.row[changed],
                               f"{source} changes; the first is taken.")
            draft.doubtful |= changed


def _turn_back(shapes: np.ndarray) -> np.ndarray:
    xy, line = shapely.get_coordinates(shapes, return_index=True)
    back = np.zeros(len(shapes), dtype=bool)
    if len(xy) < 3:
        return back
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)
    with np.errstate(invalid="ignore", divide="ignore"):
        turn = (step[1:] * step[:-1]).sum(axis=1) / (length[1:] * length[:-1])
    inner = (line[2:] == line[:-2]) & (turn < _TURNS_BACK)
    back[line[2:][inner]] = True
    return back


def _put_depths(
    draft: Draft, figures: Mapping[str, np.ndarray], along: np.ndarray, runs: Runs, setting: Setting
) -> None:
    """Depths at the ends; those between stand in the note, since an archive has no place for them."""
    units = setting.units
    depth = figures["depth"]
    if np.isnan(depth).all() and not np.isnan(figures["cover"]).all():
        diameter = draft.values.get("diameter", np.full(len(draft), np.nan)) * units.diameter_m / units.length_m
        by_run = np.full(len(runs), np.nan)
        by_run[draft.row] = diameter
        depth = np.full(len(figures["cover"]), np.nan)
        depth[runs.point] = np.round(figures["cover"][runs.point] + by_run[run_of(runs)], 6)
    if np.isnan(depth).all():
        return
    at = depth[runs.point]
    draft.fill("depth_start", at[runs.first[:-1]][draft.row])
    draft.fill("depth_end", at[runs.first[1:] - 1][draft.row])
    error = setting.limits["error_probe"] / units.length_m
    note = draft.values["note"]
    for place, run in enumerate(draft.row):
        part = slice(runs.first[run], runs.first[run + 1])
        words = profile_words(along[part], at[part], error, units.length_name)
        note[place] = joined_note(words, note[place])


def _put_levels(
    draft: Draft, figures: Mapping[str, np.ndarray], xy: np.ndarray, along: np.ndarray, runs: Runs, setting: Setting,
    taken: dict[str, set[str]],
) -> list[Draft]:
    """Inverts at the ends of each line, and shots of whatever heights were logged."""
    by_kind = {kind: figures[kind] for kind in (INVERT, PIPE_TOP, GROUND) if not np.isnan(figures[kind]).all()}
    if not np.isnan(figures["z"]).all():
        of = setting.answers.heights
        if of in (INVERT, PIPE_TOP, GROUND):
            by_kind.setdefault(of, figures["z"])
        elif not of:
            setting.issues.ask(Question(
                "HEIGHTS", "Are the logged heights those of the invert, of the top of the pipe or of the ground?",
                "HEIGHTS", "they are left",
            ))
            setting.issues.add("heights-left", draft.layer, draft.row)
    if INVERT not in by_kind and GROUND in by_kind and not np.isnan(figures["depth"]).all():
        by_kind[INVERT] = np.round(by_kind[GROUND] - figures["depth"], 6)
    found = []
    for kind, heights in by_kind.items():
        levels = levels_along(along, heights[runs.point], runs.first, kind, height_error(setting, MACHINE_LOG))
        if kind == INVERT:
            draft.fill("invert_start", levels.start[draft.row])
            draft.fill("invert_end", levels.end[draft.row])
            draft.fill("invert_error", height_error(setting) or np.nan)
        found.append(shots_along(draft, _of_draft(levels, draft, len(runs)), xy[runs.point], setting, taken, kind))
    return found


def _of_draft(levels: Levels, draft: Draft, count: int) -> Levels:
    """Levels by row of the draft instead of by run; runs that were left out have none."""
    place = np.full(count, -1)
    place[draft.row] = np.arange(len(draft))
    line = place[levels.shot_line]
    good = line >= 0
    return Levels(levels.start[draft.row], levels.end[draft.row], line[good], levels.shot_vertex[good],
                  levels.shot_z[good])  # fmt: skip


def _name_points(columns: Columns, matches: tuple[Match, ...], layer: SourceLayer, setting: Setting) -> None:
    """Say in the field table what the columns of the log were taken for."""
    told = {read.match.meaning for read in columns.fields}
    for match in matches:
        if match.source and match.meaning not in told:
            values = layer.values[match.source]
            known = values[pd.notna(values)]
            columns.fields.append(FieldRead(layer.name, match, len(known), 0, example(known)))
