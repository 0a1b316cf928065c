"""Meanings that hold for both ends of a drain, or for its ends by flow, put to the ends as they are drawn."""

from __future__ import annotations

import numpy as np

from .issues import Question
from .read_fields import Columns
from .setting import Setting


def put_ends(columns: Columns, setting: Setting) -> None:
    """`depth` and `cover` to both ends, upstream and downstream inverts to start and end, `perforated` to openings."""
    if "cover" in columns.values:
        _cover_to_depth(columns, setting)
    if "depth" in columns.values:
        depth = columns.values.pop("depth")
        for end in ("depth_start", "depth_end"):
            _where_none(columns, end, depth)
    if "perforated" in columns.values:
        yes = columns.values.pop("perforated")
        _where_none(columns, "openings", np.where(yes == 1, "perforated", np.where(yes == 0, "none", None)))
    if "invert_up" in columns.values or "invert_down" in columns.values:
        _inverts_by_flow(columns, setting)


def _where_none(columns: Columns, name: str, own: np.ndarray) -> None:
    columns.values[name] = np.where(columns.known(name), columns.values.get(name, own), own)


def _source_of(columns: Columns, meaning: str) -> str:
    return next((read.match.source for read in columns.fields if read.match.meaning == meaning), "")


def _cover_to_depth(columns: Columns, setting: Setting) -> None:
    """Cover is ground less invert less inside diameter; without a diameter it gives no depth."""
    units = setting.units
    cover = columns.values.pop("cover")
    diameter = columns.values.get("diameter", np.full(len(cover), np.nan)) * units.diameter_m / units.length_m
    depth = np.round(cover + diameter, 6)
    lacking = ~np.isnan(cover) & np.isnan(depth) & ~columns.known("depth")
    setting.issues.add("cover-kept", columns.layer, np.flatnonzero(lacking))
    columns.keep(_source_of(columns, "cover"), lacking)
    _where_none(columns, "depth", depth)


def _inverts_by_flow(columns: Columns, setting: Setting) -> None:
    none = np.full(len(columns.layer), np.nan)
    up, down = columns.values.pop("invert_up", none), columns.values.pop("invert_down", none)
    start, end = (up, down) if setting.answers.drawn == "downstream" else (down, up)
    if not setting.answers.drawn:
        unsure = (~np.isnan(up) | ~np.isnan(down)) & (up != down)
        if unsure.any():
            setting.issues.ask(Question(
                "DRAWN", "Are the lines drawn downstream, toward the outlet, or upstream? The file has levels for the "
                "upper and the lower end and does not say which drawn end is which.", "DRAWN",
                "no levels; the figures are kept in the note",
            ))
        setting.issues.add("ends-unsure", columns.layer, np.flatnonzero(unsure))
        for meaning in ("invert_up", "invert_down"):
            columns.keep(_source_of(columns, meaning), unsure)
        start, end = np.where(unsure, np.nan, start), np.where(unsure, np.nan, end)
    _where_none(columns, "invert_start", start)
    _where_none(columns, "invert_end", end)
