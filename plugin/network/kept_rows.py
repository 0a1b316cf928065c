"""Which rows of a table are as they were: matched by key, then compared column by column."""

from __future__ import annotations

import operator
from collections.abc import Collection, Iterator
from dataclasses import dataclass, fields
from typing import TypeVar, Union

import numpy as np
import pandas
import shapely

Table = TypeVar("Table")


@dataclass(frozen=True)
class KeptRows:
    """`now`: by row before, the row now where it is unchanged, else -1; kept rows stand in the same order as before.

    `changed`: rows now that are new, or not as they were.
    """

    now: np.ndarray
    changed: np.ndarray

    @property
    def gone(self) -> np.ndarray:
        """Rows before that are no more, or no more as they were."""
        return np.flatnonzero(self.now < 0)


def kept_rows(before: Table, now: Table, key: str) -> KeptRows:
    """Compare two states of one table. Rows that share a key may stand for each other."""
    matched = [_equal_rows(before, now, *rows) for rows in _same_keys(getattr(before, key), getattr(now, key))]
    old, new = (np.concatenate(rows) for rows in zip(*matched))
    rising = _in_order(new)
    found = np.full(len(before), -1, dtype=np.int64)
    found[old[rising]] = new[rising]
    changed = np.ones(len(now), dtype=bool)
    changed[new[rising]] = False
    return KeptRows(found, np.flatnonzero(changed))


def is_same(before: Table, now: Table, key: str) -> bool:
    """Whether two states of one table are equal, row by row."""
    kept = kept_rows(before, now, key)
    return not len(kept.gone) and not len(kept.changed)


def rows_of(table: Table, rows: np.ndarray) -> Table:
    """Some rows of a table, as a table."""
    return type(table)(*(getattr(table, column.name)[rows] for column in fields(table)))


def edited(table: Table, key: str, rows: Table, removed: Collection[str] = ()) -> Table:
    """A table with `rows` in the place of those with their keys, those of new keys at the end, and without `removed`.

    For whoever knows what was edited and need not read a whole layer again. Raises ValueError where a key is not the
    only one of its kind.
    """
    keys, given = getattr(table, key), pandas.Index(getattr(rows, key), dtype=object)
    if not given.is_unique:
        raise ValueError("two of the edited rows have one key")
    theirs = given.get_indexer(keys)
    own = np.flatnonzero(theirs >= 0)
    theirs = theirs[own]
    if len(np.unique(theirs)) < len(theirs):
        raise ValueError("an edited row has the key of two rows")
    fresh = np.setdiff1d(np.arange(len(given)), theirs)
    stays = ~pandas.Series(keys, dtype=object).isin(removed).to_numpy()
    columns = []
    for column in fields(table):
        now, other = getattr(table, column.name).copy(), getattr(rows, column.name)
        now[own] = other[theirs]
        columns.append(np.concatenate([now[stays], other[fresh]]))
    return type(table)(*columns)


Rows = Union[slice, np.ndarray]


def _same_keys(old: np.ndarray, new: np.ndarray) -> Iterator[tuple[Rows, Rows]]:
    """Rows before and now with the same key: those before any difference, those between, those behind all of them."""
    most = min(len(old), len(new))
    head = _leading(old[:most] == new[:most])
    tail = _leading((old[len(old) - most + head :] == new[len(new) - most + head :])[::-1])
    until_old, until_new = len(old) - tail, len(new) - tail
    yield slice(0, head), slice(0, head)
    number = pandas.factorize(np.concatenate([old[head:until_old], new[head:until_new]]))[0]
    split = until_old - head
    _, here, there = np.intersect1d(
        _one_each(number[:split]), _one_each(number[split:]), assume_unique=True, return_indices=True
    )
    order = np.argsort(here)
    yield head + here[order], head + there[order]
    yield slice(until_old, len(old)), slice(until_new, len(new))


def _leading(equal: np.ndarray) -> int:
    """How many are equal before the first that is not."""
    return len(equal) if equal.all() else int(np.argmin(equal))


def _equal_rows(before: Table, now: Table, old: Rows, new: Rows) -> tuple[np.ndarray, np.ndarray]:
    """Of rows with the same key those that are equal in every column."""
    same = np.bool_(True)
    for column in fields(before):
        equal = _same_shapes if column.name == "geometry" else _same_values
        same = equal(getattr(before, column.name)[old], getattr(now, column.name)[new]) & same
    return tuple(np.arange(len(table))[rows][same] for table, rows in ((before, old), (now, new)))


def _one_each(number: np.ndarray) -> np.ndarray:
    """Numbers that tell the first of a number from its second, and so on."""
    again = pandas.Series(number).groupby(number).cumcount().to_numpy()
    return number.astype(np.int64) + again * (np.int64(2) ** 32)


def _in_order(row: np.ndarray) -> np.ndarray:
    """Whether each row stays when those that changed places go, so that the others rise."""
    fell_back = row < np.maximum.accumulate(row)
    ran_ahead = row > np.minimum.accumulate(row[::-1])[::-1]
    return ~fell_back if fell_back.sum() <= ran_ahead.sum() else ~ran_ahead


def _same_values(before: np.ndarray, now: np.ndarray) -> np.ndarray:
    same = before == now
    if before.dtype.kind == "f":
        same |= np.isnan(before) & np.isnan(now)
    return same if same.ndim == 1 else same.all(axis=1)


def _same_shapes(before: np.ndarray, now: np.ndarray) -> np.ndarray:
    """Most are the very same object; of the others all coordinates are compared, those of height included."""
    same = np.fromiter(map(operator.is_, before, now), dtype=bool, count=len(before))
    other = np.flatnonzero(~same)
    same[other] = shapely.to_wkb(before[other], output_dimension=3) == shapely.to_wkb(now[other], output_dimension=3)
    return same
