"""What is to be done with the lines of a layout: as somebody decided, else as proposed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from .classes import ACCEPTING, ACTIONS, CLASS_IDS, JOIN, OF_ID, REPLACE, TAKE
from .found import class_of
from .judge import Comparison

_TOLD = 5


class DecisionError(ValueError):
    """What was decided cannot be done; the message says which line, why, and what to do."""


@dataclass(frozen=True)
class Chosen:
    """By line of the layout: take, join, replace, or "" where it is left out."""

    done: np.ndarray

    def rows(self, *actions: str) -> np.ndarray:
        return np.flatnonzero(np.isin(self.done, actions))

    @property
    def accepted(self) -> np.ndarray:
        return self.rows(*ACCEPTING)


def decide(
    compared: Comparison, *, keys: Collection[str] = (), classes: Collection[str] = (),
    actions: Mapping[str, str] | None = None,
) -> Chosen:
    """Lines by their keys, by their classes, or by actions under their keys; with none of these what is proposed.

    A name that only one line has may stand for its key in `keys`. Raises DecisionError.
    """
    if actions is not None:
        done = _by_actions(compared, actions)
    elif keys or classes:
        done = _by_name(compared, keys, classes)
    else:
        done = np.where(compared.proposed, compared.accepted, "")
    chosen = Chosen(done.astype(object))
    _refuse_impossible(compared, chosen)
    return chosen


def _by_actions(compared: Comparison, actions: Mapping[str, str]) -> np.ndarray:
    unknown = sorted({action for action in actions.values() if action and action not in ACTIONS})
    if unknown:
        listed = f"{', '.join(ACTIONS[:-1])} or {ACTIONS[-1]}"
        raise DecisionError(f"The action '{unknown[0]}' is not known: write {listed}.")
    ids = compared.layout.drains.drain_id
    _refuse_unknown(actions, ids)
    return np.array([actions.get(key) if actions.get(key) in ACCEPTING else "" for key in ids.tolist()] or [""],
                    dtype=object)[: len(ids)]


def _by_name(compared: Comparison, keys: Collection[str], classes: Collection[str]) -> np.ndarray:
    unknown = [one for one in classes if one not in CLASS_IDS]
    if unknown:
        raise DecisionError(f"There is no class '{unknown[0]}'; there are {', '.join(CLASS_IDS)}.")
    ids = compared.layout.drains.drain_id
    keys = _keys_of(compared, keys)
    _refuse_unknown(keys, ids)
    named = np.isin(ids.astype(str), [str(key) for key in keys])
    of_class = np.isin(class_of(compared.kind).astype(str), list(classes))
    barred = np.flatnonzero(named & (compared.accepted == ""))
    if len(barred):
        why = OF_ID[str(class_of(compared.kind[barred[:1]])[0])]
        raise DecisionError(f"Line {_listed(ids[barred])} cannot be taken. {why.title}: {why.remedy}")
    return np.where(named | of_class, compared.accepted, "")


def _keys_of(compared: Comparison, named: Collection[str]) -> list[str]:
    """Keys as they are; a name that one line has alone becomes its key."""
    ids, names = compared.layout.drains.drain_id.tolist(), compared.layout.drains.name.tolist()
    times, known = Counter(names), set(ids)
    key_of = {name: key for name, key in zip(names, ids) if times[name] == 1}
    return [one if one in known else key_of.get(one, one) for one in named]


def _refuse_unknown(keys: Collection[str], ids: np.ndarray) -> None:
    known = set(ids.tolist())
    missing = [key for key in keys if key not in known]
    if missing:
        raise DecisionError(f"The layout has no line {_listed(missing)}: look at the column Line of DECISIONS.")


def _refuse_impossible(compared: Comparison, chosen: Chosen) -> None:
    """What the archive could not hold, told before anything is written."""
    lines, drawn = compared.layout.drains, compared.drawn
    ids = lines.drain_id
    new = np.isin(chosen.done, (TAKE, JOIN))
    barred = np.flatnonzero((chosen.done != "") & compared.reasons.has(len(ids), "bad-geometry", "several-parts"))
    if len(barred):
        raise DecisionError(f"Line {_listed(ids[barred])} is no line in one part: draw it again, or leave it out.")
    clash = np.flatnonzero(new & (drawn.same_key >= 0))
    if len(clash):
        raise DecisionError(
            f"The archive has a drain with the key of line {_listed(ids[clash])}: decide for replace to redraw it, or "
            "give the line a key of its own."
        )
    twice = np.flatnonzero((chosen.done != "") & compared.reasons.has(len(ids), "key-twice"))
    if len(twice):
        raise DecisionError(f"The key {_listed(ids[twice])} is used twice in the layout: give every line its own.")
    roleless = np.flatnonzero(new & np.equal(lines.role, None))
    if len(roleless):
        raise DecisionError(
            f"Line {_listed(ids[roleless])} has no role, which the archive asks for: fill in lateral, submain, main or "
            "outlet_pipe, or choose the field that says it."
        )
    nothing = np.flatnonzero((chosen.done == REPLACE) & (compared.redraws < 0))
    if len(nothing):
        raise DecisionError(f"Line {_listed(ids[nothing])} stands for no single drain of the archive: decide for take, "
                            "or leave it out.")


def _listed(keys: Collection[str]) -> str:
    names = [f"'{key}'" for key in dict.fromkeys(str(key) for key in keys)]
    more = len(names) - _TOLD
    return ", ".join(names[:_TOLD]) + (f" and {more:,} more" if more > 0 else "")
