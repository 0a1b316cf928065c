"""A comparison as columns in the units people read: DECISIONS, PLACES, OUTLET_CHANGES and OUTLETS."""

from __future__ import annotations

import numpy as np
import shapely

from ..result_tables import rounded
from ..units import Units
from .classes import ACTION_WORDS, CLASSES, OF_ID
from .found import class_of
from .judge import Comparison
from .words import TIE_IN_UNKNOWN, said_move

DECISIONS = {
    "drain_id": "text", "name": "text", "role": "text", "class": "text", "action": "text", "title": "text",
    "detail": "text", "remedy": "text", "reasons": "text", "if_accepted": "text", "other_id": "text", "length": "real",
    "overlap_share": "real", "gap": "real", "below_by": "real", "crossing_count": "integer", "outside_length": "real",
    "not_checked": "text",
}  # fmt: skip
PLACES = {"drain_id": "text", "class": "text", "title": "text", "other_id": "text", "detail": "text"}
OUTLET_CHANGES = {
    "accepting": "text", "from_outlet": "text", "to_outlet": "text", "area": "real", "drains": "text", "detail": "text",
}  # fmt: skip
OUTLETS = {
    "outlet": "text", "name": "text", "area_before": "real", "area_proposed": "real", "area_all": "real",
    "length_before": "real", "length_proposed": "real", "length_all": "real",
}  # fmt: skip
ALL, PROPOSED = "all", "proposed"
_NAMES_TOLD = 12


def decision_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for DECISIONS."""
    length = units.length_name
    return {
        "drain_id": "Line", "name": "Name", "role": "Role", "class": "Class", "action": "Decision",
        "title": "What is so", "detail": "In detail", "remedy": "What to do", "reasons": "All reasons",
        "if_accepted": "What accepting does", "other_id": "Drain concerned", "length": f"Length ({length})",
        "overlap_share": "Share beside the archive's pipe", "gap": f"Gap ({length})",
        "below_by": f"Below the receiving pipe ({length})", "crossing_count": "Crossings",
        "outside_length": f"Length on other land ({length})", "not_checked": "Not checked",
    }  # fmt: skip


PLACE_ALIASES = {
    "drain_id": "Line", "class": "Class", "title": "What is so", "other_id": "Drain concerned", "detail": "In detail",
}


def outlet_change_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for OUTLET_CHANGES."""
    return {"accepting": "Accepting", "from_outlet": "From outlet", "to_outlet": "To outlet",
            "area": f"Area ({units.area_name})", "drains": "Drains", "detail": "In detail"}


def outlet_aliases(units: Units) -> dict[str, str]:
    """Column heads with units for OUTLETS."""
    when = {"before": "before", "proposed": "with what is proposed", "all": "with all of the layout"}
    heads = {"outlet": "Outlet", "name": "Name"}
    for what, word, unit in (("area", "Land", units.area_name), ("length", "Pipe", units.length_name)):
        heads.update({f"{what}_{key}": f"{word} {words} ({unit})" for key, words in when.items()})
    return heads


def decisions_table(compared: Comparison) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """One row a line of the layout, with its shape in metres as it can be used (None where it cannot)."""
    layout, units, kind = compared.layout.drains, compared.settings.units, compared.kind
    length_m = units.length_m
    columns = {
        "drain_id": layout.drain_id,
        "name": layout.name,
        "role": layout.role,
        "class": class_of(kind),
        "action": compared.action,
        "title": np.array([one.title for one in CLASSES], dtype=object)[kind],
        "detail": _joined(compared, compared.reasons.detail, "; "),
        "remedy": np.array([one.remedy for one in CLASSES], dtype=object)[kind],
        "reasons": _joined(compared, class_of(compared.reasons.kind), ", "),
        "if_accepted": _words([ACTION_WORDS.get(one, "cannot be taken") for one in compared.accepted.tolist()]),
        "other_id": _first_other(compared),
        "length": compared.length_m / length_m,
        "overlap_share": _value(compared, "near-duplicate"),
        "gap": np.fmin(_value(compared, "loose-end"), _value(compared, "near-joint")) / length_m,
        "below_by": np.fmax(_value(compared, "tie-in-low"), _value(compared, "tie-in-unsure")) / length_m,
        "crossing_count": np.bincount(compared.reasons.of("crossing").row, minlength=len(kind)),
        "outside_length": _sum(compared, "property-crossing") / length_m,
        "not_checked": np.where(compared.tie_in_unknown, TIE_IN_UNKNOWN, None),
    }
    return rounded(columns), np.where(_drawable(layout.geometry), shapely.force_2d(layout.geometry), None)


def _drawable(shapes: np.ndarray) -> np.ndarray:
    kind = shapely.get_type_id(shapes)
    return (kind == shapely.GeometryType.LINESTRING) & ~shapely.is_empty(shapes)


def _joined(compared: Comparison, words: np.ndarray, by: str) -> np.ndarray:
    """What was found of each line, the worst first; the same words once."""
    told: list[dict[str, None]] = [{} for _ in range(len(compared.kind))]
    for row, word in zip(compared.reasons.row.tolist(), words.tolist()):
        if word:
            told[row][word] = None
    return _words([by.join(words) or None for words in told])


def _words(values: list) -> np.ndarray:
    """A column of words, also an empty one."""
    column = np.empty(len(values), dtype=object)
    column[:] = values
    return column


def _first_other(compared: Comparison) -> np.ndarray:
    """The drain that the worst reason concerns."""
    other = np.full(len(compared.kind), None, dtype=object)
    reasons = compared.reasons
    worst = np.flatnonzero(reasons.kind == compared.kind[reasons.row])
    other[reasons.row[worst[::-1]]] = reasons.other[worst[::-1]]
    return other


def _value(compared: Comparison, class_id: str) -> np.ndarray:
    """The largest value of a reason by line, NaN where it does not hold."""
    found = compared.reasons.of(class_id)
    value = np.full(len(compared.kind), np.nan)
    np.fmax.at(value, found.row, found.value)
    return value


def _sum(compared: Comparison, class_id: str) -> np.ndarray:
    found = compared.reasons.of(class_id)
    value = np.full(len(compared.kind), np.nan)
    value[np.unique(found.row)] = 0.0
    np.add.at(value, found.row, found.value)
    return value


def places_table(compared: Comparison) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """One row a place at which something was found, with its point in metres."""
    reasons = compared.reasons
    rows = np.flatnonzero(np.isfinite(reasons.xy_m).all(axis=1))
    ids = class_of(reasons.kind[rows])
    columns = {
        "drain_id": compared.layout.drains.drain_id[reasons.row[rows]],
        "class": ids,
        "title": _words([OF_ID[one].title for one in ids.tolist()]),
        "other_id": reasons.other[rows],
        "detail": reasons.detail[rows],
    }
    return columns, shapely.points(reasons.xy_m[rows])


def changes_table(compared: Comparison) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Land that changes its outlet, by what is accepted, most first; shapes in metres."""
    units = compared.settings.units
    rows = [
        (accepting, one, said_move(one, change, units))
        for accepting, change in ((ALL, compared.all_change), (PROPOSED, compared.proposed_change))
        for one in change.moved
    ]
    columns = {
        "accepting": [accepting for accepting, _, _ in rows],
        "from_outlet": [one.before for _, one, _ in rows],
        "to_outlet": [one.after for _, one, _ in rows],
        "drains": [_told(one.drains) for _, one, _ in rows],
        "detail": [said for *_, said in rows],
    }
    table = {name: _words(values) for name, values in columns.items()}
    table["area"] = np.array([one.area_m2 for _, one, _ in rows], dtype=float) / units.area_m2
    return rounded(table), _words([one.shape for _, one, _ in rows])


def _told(names: tuple[str, ...]) -> str:
    more = len(names) - _NAMES_TOLD
    return ", ".join(names[:_NAMES_TOLD]) + (f" and {more:,} more" if more > 0 else "")


def outlets_table(compared: Comparison) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """One row an outlet of the systems that the layout touches, and one for what reaches none (without a point)."""
    units = compared.settings.units
    everything, proposed = ({one.key: one for one in change.outlets}
                            for change in (compared.all_change, compared.proposed_change))
    keys = list(dict.fromkeys([*everything, *proposed]))
    one_of = {**proposed, **everything}

    def column(change: dict, name: str, size: float) -> np.ndarray:
        return np.array([getattr(change[key], name) if key in change else 0.0 for key in keys], dtype=float) / size

    table: dict[str, np.ndarray] = {
        "outlet": _words(keys), "name": _words([one_of[key].name for key in keys]),
    }
    for what, size in (("area", units.area_m2), ("length", units.length_m)):
        suffix = "_m2" if what == "area" else "_m"
        before, after = f"{what}_before{suffix}", f"{what}_after{suffix}"
        table[f"{what}_before"] = np.fmax(column(everything, before, size), column(proposed, before, size))
        table[f"{what}_proposed"] = column(proposed, after, size)
        table[f"{what}_all"] = column(everything, after, size)
    places = [one_of[key].xy_m for key in keys]
    return rounded(table), _words([shapely.Point(xy) if np.isfinite(xy).all() else None for xy in places])
