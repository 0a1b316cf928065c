"""Notices, edit by edit, ends of lines that were turned, cut or moved while their figures stayed as they were.

A figure is taken as given at the place where its end lay when the figure last changed. It is left behind where the end
lies elsewhere now and the figure is still the same. That holds whatever way an edit came about, so that what is undone
is no fault, and what was mended and is undone is one again.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from .drawn import ENDS, Drawn, is_of_end, partner

TURNED, CUT, MOVED = "turned", "cut", "moved"
_KEY = "drain_id"


@dataclass(frozen=True)
class Behind:
    """A line of which `columns` were left behind, with how far their ends lie from where they were given, in the unit
    of coordinates. `whole`: the line it was cut from, and whether it is a part that has the key of the whole still."""

    number: int
    how: str
    drawn: Drawn
    columns: dict[str, float]
    whole: Drawn | None = None
    needs_key: bool = False


@dataclass
class _Line:
    """`drawn`: as it was last seen, None where it is deleted; `given`: place and figure by column; `left`: what was
    found left behind, by (column, place, figure), with what had been given instead."""

    drawn: Drawn | None
    given: dict[str, tuple]
    left: dict[tuple, tuple] = field(default_factory=dict)
    columns: dict[str, float] = field(default_factory=dict)
    whole: Drawn | None = None
    is_new_part: bool = False

    @property
    def needs_key(self) -> bool:
        return self.is_new_part and self.drawn.row.get(_KEY) in (None, self.whole.row.get(_KEY))


class Watch:
    """What is known of the lines touched since the last save; `exact`: what is no move, in the unit of coordinates."""

    def __init__(self, exact: float):
        self._exact = exact
        self._lines: dict[int, _Line] = {}
        self._let_be: set[tuple] = set()

    def knows(self, number: int) -> bool:
        return number in self._lines

    def follow(self, before: Mapping[int, Drawn], now: Mapping[int, Drawn | None]) -> None:
        """One edit: `now` lines as they are (None: deleted), `before` those not known yet as they were, if at all."""
        for number, drawn in before.items():
            if number not in self._lines:
                self._lines[number] = _Line(drawn, _given(drawn))
        changed = {
            number: line for number, line in self._lines.items()
            if number in now and line.drawn is not None and now[number] is not None
            and now[number].places != line.drawn.places
        }
        for number, drawn in now.items():
            if drawn is not None and number not in self._lines:
                self._lines[number] = self._new(drawn, changed)
        for number, drawn in now.items():
            if number in self._lines:
                self._lines[number].drawn = drawn
                if drawn is not None:
                    self._look_at(self._lines[number])

    def behind(self) -> list[Behind]:
        """Every line that has something left behind, in the order they were touched."""
        found = []
        for number, line in self._lines.items():
            columns = {
                column: far for column, far in line.columns.items()
                if (number, *_at(line.drawn, column)) not in self._let_be
            } if line.drawn is not None else {}
            if columns or (line.drawn is not None and line.needs_key and (number, _KEY) not in self._let_be):
                how = self._how(line)
                whole = line.whole if how == CUT else None
                found.append(Behind(number, how, line.drawn, columns, whole, line.needs_key))
        return found

    def parts(self, whole: Drawn) -> dict[int, Drawn]:
        """The lines that a line was cut into."""
        return {number: line.drawn for number, line in self._lines.items()
                if line.whole is whole and line.drawn is not None}

    def let_be(self) -> None:
        """Say no more of what is left behind now."""
        for one in self.behind():
            self._let_be |= {(one.number, *_at(one.drawn, column)) for column in one.columns}
            if one.needs_key:
                self._let_be.add((one.number, _KEY))

    def renumber(self, number: int, drawn: Drawn | None) -> None:
        """A new line (its number is below 0) was saved, and has another number from now on."""
        for old, line in self._lines.items():
            if old < 0 and drawn is not None and line.drawn == drawn:
                self._lines[number] = self._lines.pop(old)
                self._let_be |= {(number, *one[1:]) for one in self._let_be if one[0] == old}
                return

    def saved(self) -> None:
        """Everything is as the file has it now: only lines with something left behind stay known, with their parts."""
        behind = {one.number for one in self.behind()}
        wholes = {id(self._lines[number].whole) for number in behind} - {id(None)}
        self._lines = {number: line for number, line in self._lines.items()
                       if number in behind or id(line.whole) in wholes}

    def _new(self, drawn: Drawn, changed: Mapping[int, _Line]) -> _Line:
        """A line that was not there: a part of one that changed in the same edit, or drawn by somebody."""
        for parent in changed.values():
            if _is_part(drawn, parent.drawn, self._exact):
                if parent.whole is None or not (parent.columns or parent.needs_key):
                    parent.whole, parent.is_new_part = parent.drawn, False
                return _Line(drawn, dict(parent.given), whole=parent.whole, is_new_part=True)
        return _Line(drawn, _given(drawn))

    def _look_at(self, line: _Line) -> None:
        line.columns = {}
        for column in ENDS:
            at = _at(line.drawn, column)
            _, place, figure = at
            if figure is not None and figure != line.given[column][1] and at in line.left:
                line.given[column] = line.left[at]
            was, given = line.given[column]
            if figure is None or figure != given:
                line.given[column] = (place, figure)
            elif _far(place, was) > self._exact and not self._is_given_there(line, column, place, figure):
                line.columns[column] = _far(place, was)
                line.left[at] = line.given[column]

    def _is_given_there(self, line: _Line, column: str, place: tuple, figure: float) -> bool:
        """Whether the other end had the same figure, and lay there."""
        was, given = line.given[partner(column)]
        return given == figure and _far(place, was) <= self._exact

    def _how(self, line: _Line) -> str:
        if line.whole is not None and _lies_on(line.drawn, line.whole, self._exact):
            return CUT
        places = line.drawn.places
        turned = all(_far(line.given[column][0], places[0 if is_of_end(column) else -1]) <= self._exact
                     for column in line.columns)
        return TURNED if turned else MOVED


def _given(drawn: Drawn) -> dict[str, tuple]:
    return {column: (drawn.place_of(column), drawn.row.get(column)) for column in ENDS}


def _at(drawn: Drawn, column: str) -> tuple:
    return column, drawn.place_of(column), drawn.row.get(column)


def _far(place: tuple, other: tuple) -> float:
    return math.dist(place[:2], other[:2])


def _is_part(drawn: Drawn, whole: Drawn, exact: float) -> bool:
    return all(drawn.row.get(column) == whole.row.get(column) for column in ENDS) and _lies_on(drawn, whole, exact)


def _lies_on(drawn: Drawn, whole: Drawn, exact: float) -> bool:
    way = whole.way
    return drawn.way.length < way.length and all(way.nearest(place)[0] <= exact for place in drawn.places)


def in_order(whole: Drawn, parts: Mapping[int, Drawn], exact: float) -> list[tuple[int, float]] | None:
    """Numbers of the parts from the start of the whole on, with the station where each begins; None where they are not
    the whole of it, one after the other."""
    way = whole.way
    begun = sorted((way.nearest(part.places[0])[1], number) for number, part in parts.items())
    at = 0.0
    for station, number in begun:
        if abs(station - at) > exact:
            return None
        at = station + parts[number].way.length
    return [(number, station) for station, number in begun] if abs(at - way.length) <= exact * len(begun) else None

