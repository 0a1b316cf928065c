"""What was left behind by an edit, in one sentence; and what an edit that mends would write, in words."""

from __future__ import annotations

from collections.abc import Sequence

from ..schema import layer
from .behind import CUT, MOVED, TURNED, Behind
from .drawn import ENDS, Drawn, Row, is_of_end

_NAMED = 4
_ALIAS = {field.name: field.alias for field in layer("drains").fields}


def behind_words(found: Sequence[Behind], unit: float, length_name: str) -> str:
    """One sentence about everything left behind; `unit`: size of the archive's unit of length in coordinates."""
    by_how = {how: [one for one in found if one.how == how] for how in (TURNED, CUT, MOVED)}
    clauses = []
    if by_how[TURNED]:
        their = "its" if len(by_how[TURNED]) == 1 else "their"
        clauses.append(f"{_drains(by_how[TURNED])} turned, {their} {_figures(by_how[TURNED])} were not")
    if by_how[CUT]:
        clauses.append(_cut_words(by_how[CUT]))
    clauses += [_moved_words(by_how[MOVED], unit, length_name)] if by_how[MOVED] else []
    return "; ".join(clauses) + "." if clauses else ""


def change_words(before: Row, after: Row, length_name: str) -> list[str]:
    """'Invert at end: 99.80 ft → 99.95 ft' for every figure of the ends, and every other column, that changes."""
    return [f"{_ALIAS[column]}: {_shown(before.get(column), length_name)} \u2192 {_shown(after[column], length_name)}"
            for column in ("drain_id", *ENDS, "invert_error")
            if column in after and before.get(column) != after[column]]


def new_end_words(first: Drawn, second: Drawn, length_name: str) -> str:
    """What the new ends of two parts get, and the key of the second."""
    figures = [f"{name[:-len('_end')]} {_shown(first.row.get(name), length_name)}" for name in ENDS if is_of_end(name)]
    known = any(first.row.get(name) is not None for name in ENDS if is_of_end(name))
    said = f"{', '.join(figures)} at the new ends" + (" (between known figures, assumed)" if known else "")
    return f"{said}; the second part becomes {second.row.get('drain_id') or 'a drain without a key'}."


def _cut_words(found: Sequence[Behind]) -> str:
    wholes = {id(one.whole): one.whole for one in found}
    figures = _figures(found)
    said = f"{_named(list(wholes.values()))} cut"
    if figures:
        said += f", {'its' if len(wholes) == 1 else 'their'} {figures} are still those of the whole"
    return said + (", and the parts have one key" if any(one.needs_key for one in found) else "")


def _moved_words(found: Sequence[Behind], unit: float, length_name: str) -> str:
    if len(found) > 1:
        return f"{_drains(found)} moved at an end: {_figures(found)} there may be stale"
    (one,) = found
    far = {"end" if is_of_end(column) else "start": moved / unit for column, moved in one.columns.items()}
    moved = " and ".join(f"{end} by {far[end]:,.1f} {length_name}" for end in ("start", "end") if end in far)
    return f"{_drains(found)} moved at its {moved}: {_figures(found)} there may be stale"


def _drains(found: Sequence[Behind]) -> str:
    return _named([one.drawn for one in found])


def _named(drains: Sequence[Drawn]) -> str:
    """'drain K was', 'drains K and 3 more were'."""
    names = [str(one.row.get("name") or one.row.get("drain_id") or "without a key") for one in drains]
    more = f" and {len(names) - _NAMED:,} more" if len(names) > _NAMED else ""
    few = ", ".join(names[:_NAMED])
    return f"drain {few} was" if len(names) == 1 else f"drains {few}{more} were"


def _figures(found: Sequence[Behind]) -> str:
    kinds = {column.split("_")[0] for one in found for column in one.columns}
    return " and ".join(f"{kind}s" for kind in sorted(kinds, reverse=True))


def _shown(value: object, length_name: str) -> str:
    if value is None:
        return "unknown"
    return f"{value:.2f} {length_name}" if isinstance(value, float) else str(value)
