"""Two states of arrays made one: what stays of an old network, and the part of it that was built anew.

Whatever has a number (line, node, piece) gets a new one, and tables that speak of it are put together and
renumbered. Nothing here knows what the figures mean.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np

Table = TypeVar("Table")

GONE = -1


@dataclass(frozen=True)
class Numbers:
    """Numbers now of things of one kind, by their number in the old network (GONE: not there now) and in the part."""

    old: np.ndarray
    part: np.ndarray

    @classmethod
    def by(cls, stays: np.ndarray, key: np.ndarray) -> Numbers:
        """In the order of `key`, which goes by old things (`stays`: which are left) and then those of the part."""
        rows = np.concatenate([np.flatnonzero(stays), np.arange(len(stays), len(key))])
        now = np.full(len(key), GONE, dtype=np.int64)
        now[rows[np.argsort(key[rows], kind="stable")]] = np.arange(len(rows))
        return cls(now[: len(stays)], now[len(stays) :])

    @property
    def ends(self) -> Numbers:
        """The same for the two ends of every line."""
        return Numbers(_of_ends(self.old), _of_ends(self.part))

    def of(self, old: np.ndarray, part: np.ndarray) -> np.ndarray:
        """A column of the old network that holds such numbers, and then one of the part, with the numbers now.

        A negative number stands for none and stays as it is.
        """
        return np.concatenate([_now(self.old, old), _now(self.part, part)])

    def source(self) -> np.ndarray:
        """For everything now: its place among the old followed by those of the part."""
        now = np.concatenate([self.old, self.part])
        there = np.flatnonzero(now >= 0)
        source = np.empty(len(there), dtype=np.int64)
        source[now[there]] = there
        return source


def _of_ends(line: np.ndarray) -> np.ndarray:
    first = np.where(line < 0, GONE, 2 * line)
    return np.column_stack([first, np.where(line < 0, GONE, first + 1)]).ravel()


def _now(numbers: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    return np.where(wanted < 0, wanted, np.append(numbers, GONE)[wanted])


class Splice:
    """Puts columns together by the numbers of each kind of thing they speak of or go by."""

    def __init__(self, **numbers: Numbers) -> None:
        self.numbers = numbers
        self._source: dict[str, np.ndarray] = {}

    def source(self, kind: str) -> np.ndarray:
        if kind not in self._source:
            self._source[kind] = self.numbers[kind].source()
        return self._source[kind]

    def by(self, kind: str, old: np.ndarray, part: np.ndarray) -> np.ndarray:
        """A column that goes by things of a kind."""
        return np.concatenate([old, part])[self.source(kind)]

    def runs(self, kind: str, old_first: np.ndarray, part_first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of rows that lie in a run for each thing of a kind: where the runs begin now, and the rows among the old
        followed by those of the part."""
        begin = self.by(kind, old_first[:-1], part_first[:-1] + old_first[-1])
        count = self.by(kind, np.diff(old_first), np.diff(part_first))
        first = np.concatenate([[0], np.cumsum(count)])
        return first, np.repeat(begin - first[:-1], count) + np.arange(first[-1])

    def columns(
        self, old: Mapping[str, np.ndarray], part: Mapping[str, np.ndarray], speaks_of: Mapping[str, str]
    ) -> dict[str, np.ndarray]:
        """Tables put together, in the order of the things that the first column in `speaks_of` tells of.

        `speaks_of`: the kind of thing by column. A row of the old table goes if the first of its things is gone.
        """
        numbers = {name: self.numbers[kind].of(old[name], part[name]) for name, kind in speaks_of.items()}
        first = next(iter(numbers.values()))
        rows = np.flatnonzero(first >= 0)
        rows = rows[np.argsort(first[rows], kind="stable")]
        return {
            name: (numbers[name] if name in numbers else np.concatenate([old[name], part[name]]))[rows] for name in old
        }

    def table(self, old: Table, part: Table, **speaks_of: str) -> Table:
        """The same for tables that are dataclasses of columns."""
        return type(old)(**self.columns(columns_of(old), columns_of(part), speaks_of))

    def numbered(self, kind: str, old: np.ndarray, part: np.ndarray) -> np.ndarray:
        """Numbers of some things of a kind, rising."""
        return self.columns({"it": old}, {"it": part}, {"it": kind})["it"]

    def groups(self, kind: str, old: np.ndarray, part: np.ndarray) -> np.ndarray:
        """Numbers of groups (negative: of none) by things of a kind; no group lies in both. Counted without gaps."""
        number = self.by(kind, old, np.where(part < 0, part, part + old.max(initial=-1) + 1))
        used = np.zeros(int(number.max(initial=-1)) + 1, dtype=bool)
        used[number[number >= 0]] = True
        return _now(np.cumsum(used) - 1, number)


def columns_of(table: object) -> dict[str, np.ndarray]:
    """The columns of a table that is a dataclass."""
    return {column.name: getattr(table, column.name) for column in fields(table)}

