"""What is written down from the map: a call, a reading, a repair; their first values, and the call they belong to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from ..schema.values import VALUE_LISTS

CALL, REPAIR = "call", "repair"
OPEN, DUG, CLOSED = "open", "dug", "closed"
_NEXT = {OPEN: DUG, DUG: CLOSED}
_ON_PIPE = frozenset({
    REPAIR, "running", "standing", "dry_hole", "roots", "collapsed", "outlet_flow", "probe_hit",
})
_TO_PIPE_TOP = frozenset({"running", "dry_hole", "roots", "collapsed", "probe_hit"})
_TO_WATER = frozenset({"standing", "boil"})


@dataclass(frozen=True)
class Choice:
    """One thing to write down: its name, the layer its row goes into, and what people read on its button.

    `on_pipe`: it is put on the pipe near the click, if there is one.
    """

    name: str
    layer: str
    words: str

    @property
    def on_pipe(self) -> bool:
        return self.name in _ON_PIPE

    @property
    def depth_of(self) -> str:
        """What a depth measured with it goes down to: "pipe_top", "water", or "" where it takes no depth."""
        return "pipe_top" if self.name in _TO_PIPE_TOP else "water" if self.name in _TO_WATER else ""


CHOICES = (
    Choice(CALL, "calls", "Call"),
    *(Choice(kind, "readings", words) for kind, words in VALUE_LISTS["reading_kind"].items()),
    Choice(REPAIR, "repairs", "Repair"),
)
BY_NAME: Mapping[str, Choice] = {choice.name: choice for choice in CHOICES}


@dataclass(frozen=True)
class OpenCall:
    """A call that is not closed. `number`: of its row in the layer."""

    number: int
    call_id: str
    status: str
    words: str

    @property
    def next_status(self) -> str:
        return _NEXT[self.status]


def last_used_first(used: Iterable[str]) -> list[Choice]:
    """All choices, those of `used` in front in its order."""
    known = [BY_NAME[name] for name in dict.fromkeys(used) if name in BY_NAME]
    return known + [choice for choice in CHOICES if choice not in known]


def open_calls(rows: Iterable[tuple[int, Mapping[str, object]]]) -> list[OpenCall]:
    """Calls that are not closed, the newest first; of rows with their numbers, unknown as None.

    `received_on` is text in the order of years. A status that is unknown, or in no list, counts as open.
    """
    found = [(number, row) for number, row in rows if row.get("status") != CLOSED and row.get("call_id")]
    found.sort(key=lambda one: (str(one[1].get("received_on") or ""), one[0]), reverse=True)
    return [
        OpenCall(number, str(row["call_id"]), DUG if row.get("status") == DUG else OPEN, _said_call(row))
        for number, row in found
    ]


def chosen_call(calls: list[OpenCall], wanted: str | None) -> OpenCall | None:
    """The one of this key; else the only one there is; None where several are open and nobody said which."""
    by_key = {call.call_id: call for call in calls}
    return by_key.get(wanted or "", calls[0] if len(calls) == 1 else None)


def new_row(
    choice: Choice, now: datetime, who: str, call_id: str | None, drain_id: str | None, depth: float | None = None
) -> dict[str, object]:
    """First values of a row, in the archive's units; what is None is left unknown. The key is made by the layer."""
    today, at = now.date().isoformat(), now.replace(microsecond=0).isoformat()
    if choice.layer == "calls":
        return {"received_on": at, "status": OPEN}
    if choice.layer == "repairs":
        return {"done_on": today, "drain_id": drain_id, "call_id": call_id}
    return {"kind": choice.name, "observed_on": at, "observer": who or None, "call_id": call_id,
            "depth": depth if choice.depth_of else None}


def next_step(call: OpenCall, now: datetime, done_on: object) -> dict[str, object]:
    """Values that take a call one step on; the day it was closed where no day stands there yet."""
    values: dict[str, object] = {"status": call.next_status}
    if call.next_status == CLOSED and done_on is None:
        values["done_on"] = now.date().isoformat()
    return values


def said_put(
    choice: Choice, place: str, call: OpenCall | None, layer: str, other_unsaved: Iterable[str], calls: int
) -> str:
    """What was put where, to which call it belongs, and what else is open. `place`: on which pipe, or ''.

    `other_unsaved`: names of further layers with edits; `calls`: how many calls are open.
    """
    said = [f"{choice.words}: {place or 'where you clicked'}."]
    if choice.name != CALL:
        said.append(_said_tie(call, calls))
    if choice.name == REPAIR and not place:
        said.append("No pipe was within reach of the click, so it names none: undo and click a pipe, or name it in "
                    "the form.")
    said.append(f"Not saved yet: save the layer '{layer}', or undo.")
    further = list(other_unsaved)
    if further:
        said.append(f"Edits not saved elsewhere too: {', '.join(further)}.")
    if calls:
        said.append("1 call is open." if calls == 1 else f"{calls:,} calls are open.")
    return " ".join(said)


def _said_tie(call: OpenCall | None, calls: int) -> str:
    if call is not None:
        return f"It belongs to the call {call.words}."
    if calls:
        return f"It belongs to no call: {calls:,} are open, and none is chosen above."
    return "It belongs to no call: none is open."


def _said_call(row: Mapping[str, object]) -> str:
    """Day, caller, about."""
    day = str(row.get("received_on") or "").partition("T")[0] or "no date"
    parts = [day, str(row.get("caller") or "caller unknown"), str(row.get("about") or row["call_id"])]
    return ", ".join(parts[:2]) + ": " + parts[2]
