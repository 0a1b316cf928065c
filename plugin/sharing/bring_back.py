"""What came back from the field against what the archive holds now: what can be written, what has to be decided."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from .field_copy import NOT_COMPARED
from .three_way import DELETE, INSERT, NOTHING, UPDATE, WHOLE_ROW, Clash, merge_row

# what becomes of the archive's row where both sides changed it
KEEP_ARCHIVE, TAKE_FIELD = "archive", "field"

Row = Mapping[str, object]


@dataclass(frozen=True)
class Change:
    """One row to be written: `values` are those that change, all of them for a new row.

    `theirs` is the archive's row that was compared with; the row is written only if it is still like that.
    """

    layer: str
    key: str
    action: str
    values: Row
    theirs: Row | None


@dataclass(frozen=True)
class Decision:
    """A clash with what becomes of it; `field_wins` tells whether the field's value is among the changes."""

    layer: str
    key: str
    clash: Clash
    field_wins: bool


@dataclass
class Plan:
    """`changes` can be written, `decisions` are clashes, `refused` (layer, key, why) break a rule of the archive."""

    changes: list[Change] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    refused: list[tuple[str, str, str]] = field(default_factory=list)


def plan_layer(
    plan: Plan,
    layer: str,
    base: Mapping[str, Row],
    field_rows: Mapping[str, Row],
    archive_rows: Mapping[str, Row],
    clashes: str = KEEP_ARCHIVE,
    refusal: Callable[[Row], str] = lambda row: "",
) -> None:
    """Add to `plan` what one layer brings, by keys. `clashes`: KEEP_ARCHIVE or TAKE_FIELD; `refusal` gives a sentence
    for a row that the archive would refuse, else ''."""
    for key in dict.fromkeys((*base, *field_rows)):
        mine, theirs = field_rows.get(key), archive_rows.get(key)
        merged = merge_row(_compared(base.get(key)), _compared(mine), _compared(theirs))
        if merged.action == NOTHING and not merged.clashes:
            continue
        action, values = merged.action, dict(merged.values)
        for clash in merged.clashes:
            plan.decisions.append(Decision(layer, key, clash, clashes == TAKE_FIELD))
            if clashes == TAKE_FIELD:
                action, values = _with_field(action, values, clash, theirs, mine)
        if action == NOTHING:
            continue
        why = refusal({**(theirs or {}), **(mine if action == INSERT else values)}) if action != DELETE else ""
        if why:
            plan.refused.append((layer, key, why))
            continue
        if mine is not None and action != DELETE:
            values.update({name: mine[name] for name in NOT_COMPARED if mine.get(name) is not None})
        plan.changes.append(Change(layer, key, action, values, theirs))


def _with_field(action: str, values: dict, clash: Clash, theirs: Row | None, mine: Row | None) -> tuple[str, dict]:
    """The change that also carries out what the field did in a clash."""
    if clash.field != WHOLE_ROW:
        return UPDATE, {**values, clash.field: clash.mine}
    if mine is None:
        return DELETE, {}
    return INSERT, dict(mine)  # the archive deleted it; the field's row comes again under its key


def _compared(row: Row | None) -> dict | None:
    return None if row is None else {name: value for name, value in row.items() if name not in NOT_COMPARED}

