"""What is compared, and with which settings; rows of tables by number."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
import pandas

from ..limits import Limits
from ..tables import Drains, Land, Shots, Structures
from ..units import Units

Table = TypeVar("Table")
_MADE_UP_KEY = re.compile(r"\{?[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\}?", re.IGNORECASE)


@dataclass(frozen=True)
class Archive:
    """What the archive holds; `land` None where it has none."""

    drains: Drains
    structures: Structures
    shots: Shots
    land: Land | None = None


@dataclass(frozen=True)
class Layout:
    """A layout somebody brings, in archive form; structures and shots are those that come with its lines."""

    drains: Drains
    structures: Structures
    shots: Shots

    @classmethod
    def of_lines(cls, drains: Drains) -> Layout:
        return cls(drains, Structures.none(), Shots.none())

    def with_names(self) -> Layout:
        """With something to read where a line has no name and a key that was made up: 'line 7', as its layer counts."""
        name = self.drains.name.copy()
        nameless = np.flatnonzero(np.equal(name, self.drains.drain_id))
        made_up = pandas.Series(name[nameless], dtype=object).astype(str).str.fullmatch(_MADE_UP_KEY)
        for row in nameless[made_up.to_numpy(bool)].tolist():
            name[row] = f"line {row + 1}"
        return replace(self, drains=replace(self.drains, name=name))


@dataclass(frozen=True)
class Settings:
    """Limits, units and join tolerance in force; `accept_proposed`: joints that are proposed count as real."""

    limits: Limits
    units: Units
    tolerance_m: float
    accept_proposed: bool = False
    is_canceled: Callable[[], bool] = lambda: False


class CompareCanceledError(Exception):
    """The user stopped the comparison."""


def together(first: Table, second: Table) -> Table:
    """Two tables one after the other."""
    columns = ((getattr(first, column.name), getattr(second, column.name)) for column in fields(first))
    return type(first)(*(np.concatenate(pair) for pair in columns))


def row_of_key(keys: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """The first row that has each wanted key, -1 where none has."""
    first = np.flatnonzero(~pandas.Series(keys, dtype=object).duplicated())
    place = pandas.Index(keys[first], dtype=object).get_indexer(wanted)
    return np.append(first, -1)[place]
