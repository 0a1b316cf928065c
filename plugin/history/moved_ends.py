"""Ends of drains that were moved, turned or cut while their inverts stayed as they were, read from the history.

A state is what a drain was between two saves. An invert is taken as given at the place where its end lay when the
figure last changed. Changes within SAVE_S of each other are one save: QGIS saves attributes and shapes one after the
other. What a batch wrote (a merge, a repair, an undo) is taken as right: it deals with inverts itself.
"""

from __future__ import annotations

import datetime
import re
import sqlite3
import struct
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

from ..schema.history import DELETE, GAP, INSERT, REPLACED, UPDATE
from .blobs import Place, line_places
from .stretches import Way

SAVE_S = 2.0
_NEVER = ("", "")
_ON_LINE = 0.01  # in the unit of coordinates: how far a cut may lie from the line it was cut from

_ENTRIES = """SELECT key, new_key, action, at, who, batch, CASE action WHEN ? THEN before END FROM history
WHERE layer = 'drains' AND action IS NOT NULL ORDER BY seq"""
_NOW = "SELECT drain_id, geom, invert_start, invert_end FROM drains"

# a quote inside a text of the JSON has a backslash before it, so these are the columns themselves
_SHAPE = re.compile(r'"geom":"([0-9A-F]*)"')
_INVERTS = tuple(re.compile(rf'"invert_{end}":(null|[^,}}]+)') for end in ("start", "end"))


@dataclass(frozen=True)
class State:
    """Places and inverts of both ends (start, end), in the units of the archive; the shape as it is stored."""

    places: tuple[Place, Place]
    inverts: tuple[float | None, float | None]
    shape: bytes


@dataclass(frozen=True)
class MovedEnd:
    """An end of which the invert was given when it lay at `place`, and the other end at `other`."""

    key: str
    at_end: bool
    place: Place
    other: Place
    invert: float
    at: str
    who: str
    split: bool


@dataclass
class _Life:
    """A drain through its saves. `given`: the state in which the invert of each end was given; `moved`: when and by
    whom that end was moved since; the last save, and the first state known."""

    given: list[State] = field(default_factory=list)
    moved: list[tuple[str, str]] = field(default_factory=lambda: [_NEVER] * 2)
    before: State | None = None
    first: State | None = None
    at: str = ""
    who: str = ""
    batch: str | None = None
    split: bool = False

    def save(self, state: State, at: str, who: str | None, batch: str | None) -> bool:
        """A save that began from `state`; False if it only goes on with the last one."""
        if self.at and self.batch == batch and abs(_seconds(at) - _seconds(self.at)) <= SAVE_S:
            return False
        self.reach(state)
        self.at, self.who, self.batch = at, who or "", batch
        return True

    def reach(self, state: State) -> None:
        """The last save led to `state`."""
        if self.first is None:
            self.first = state
        if not self.given or self.batch is not None:
            self.given, self.moved = [state, state], [_NEVER] * 2
        else:
            for end in (0, 1):
                if state.inverts[end] != self.given[end].inverts[end]:
                    self.given[end], self.moved[end] = state, _NEVER
                elif state.places[end] != self.before.places[end]:
                    self.moved[end] = (self.at, self.who)
        self.before = state


def moved_ends(connection: sqlite3.Connection) -> tuple[list[MovedEnd], frozenset[str]]:
    """The ends, and the keys of the drains of which the history tells everything since they were drawn."""
    lives, saves, drawn, known = _follow(connection)
    around = _saves_around(drawn, saves)
    found = []
    for key, shape, *inverts in connection.execute(_NOW) if lives else ():
        key = str(key)
        places = _end_places(shape) if key in lives or key in around else None
        if places is None:
            continue
        now, life = State(places, tuple(inverts), shape), lives.get(key)
        first = life.first if life is not None and life.first is not None else now
        parent = next((save for save in around.get(key, ()) if _was_cut(first, save.state)), None)
        if parent is not None:
            life = _as_cut(life, first, parent)
        if life is not None and life.before is not None:
            life.reach(now)
            found += _ends(key, life, now)
    return found, frozenset(known)


@dataclass(frozen=True)
class _Save:
    at_s: float
    at: str
    who: str
    state: State


def _follow(
    connection: sqlite3.Connection,
) -> tuple[dict[str, _Life], list[_Save], dict[str, float], set[str]]:
    """By key: changed drains, and when others were drawn by hand; all saves by hand; the known drains."""
    lives: dict[str, _Life] = {}
    saves: list[_Save] = []
    drawn: dict[str, float] = {}
    known: set[str] = set()
    for key, new_key, action, at, who, batch, before in connection.execute(_ENTRIES, (UPDATE,)):
        if action == GAP:
            known.clear()
        elif action == INSERT:
            known.add(key)
            lives.pop(key, None)
            if batch is None:
                drawn[key] = _seconds(at)
        elif action in (DELETE, REPLACED):
            known.discard(key)
            lives.pop(key, None)
            drawn.pop(key, None)
        else:
            state = _state(before)
            life = lives.setdefault(key, _Life())
            if state is not None and life.save(state, at, who, batch) and batch is None:
                saves.append(_Save(_seconds(at), at, who or "", state))
            if new_key:
                _rename(key, new_key, lives, drawn, known)
    return lives, sorted(saves, key=lambda save: save.at_s), drawn, known


def _rename(key: str, new_key: str, lives: dict, drawn: dict, known: set[str]) -> None:
    for table in (lives, drawn):
        if key in table:
            table[new_key] = table.pop(key)
    if key in known:
        known.remove(key)
        known.add(new_key)


def _saves_around(drawn: dict[str, float], saves: list[_Save]) -> dict[str, list[_Save]]:
    """By key of a drain drawn by hand, the saves of changes that it may be a part of."""
    times = [save.at_s for save in saves]
    around = {}
    for key, at_s in drawn.items() if saves else ():
        near = saves[bisect_left(times, at_s - SAVE_S):bisect_right(times, at_s + SAVE_S)]
        if near:
            around[key] = near
    return around


def _was_cut(part: State, whole: State) -> bool:
    """Whether a drain lies on another one as that was, and took its inverts along."""
    if part.inverts == (None, None) or part.inverts != whole.inverts or part.places == whole.places:
        return False
    way = Way(line_places(whole.shape))
    return all(way.nearest(place)[0] <= _ON_LINE for place in part.places)


def _as_cut(life: _Life | None, first: State, save: _Save) -> _Life:
    """The life of a drain that was cut from another, as if it had been that one before."""
    life = life or _Life(given=[first, first], before=first, first=first, at=save.at, who=save.who)
    life.split = True
    for end in (0, 1):
        if life.given[end] is first:
            life.given[end] = save.state
            if life.moved[end] == _NEVER:
                life.moved[end] = (save.at, save.who)
    return life


def _ends(key: str, life: _Life, now: State) -> Iterator[MovedEnd]:
    for end in (0, 1):
        given, invert = life.given[end], life.given[end].inverts[end]
        if invert is not None and given.places[end] != now.places[end]:
            at, who = life.moved[end]
            yield MovedEnd(key, bool(end), given.places[end], given.places[1 - end], invert, at, who, life.split)


def _state(before: str | None) -> State | None:
    shape = _SHAPE.search(before or "")
    inverts = tuple(pattern.search(before or "") for pattern in _INVERTS)
    if shape is None or None in inverts:
        return None
    blob = bytes.fromhex(shape[1])
    places = _end_places(blob)
    return None if places is None else State(places, tuple(_figure(found[1]) for found in inverts), blob)


def _figure(words: str) -> float | None:
    return None if words == "null" else float(words)


def _end_places(blob: object) -> tuple[Place, Place] | None:
    """First and last vertex of a line; None where it is no line that can be read."""
    try:
        places = line_places(blob)
    except (struct.error, ValueError, IndexError, TypeError):
        return None
    return (places[0], places[-1]) if len(places) > 1 else None


def _seconds(at: str | None) -> float:
    """A time of the history in seconds; of one that cannot be read, minus infinity."""
    try:
        return datetime.datetime.fromisoformat((at or "")[:23]).timestamp()
    except ValueError:
        return float("-inf")
