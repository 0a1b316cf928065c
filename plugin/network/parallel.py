"""Bulk work of shapely on all cores, by threads: it lets go of Python's lock while it works."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import shapely

_LEAST = 4000  # below this many shapes a thread costs more than it brings
_MOST_THREADS = 8


def query(
    tree: shapely.STRtree, shapes: np.ndarray, predicate: str, distance_m: float | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """`tree.query` of many shapes: rows of `shapes`, rows of the tree."""
    if not len(shapes) or not len(tree.geometries):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    tree.query(shapes[0])  # a tree is built by its first question, which must not come from two threads at once

    def ask(part: np.ndarray) -> np.ndarray:
        return tree.query(part, predicate=predicate, distance=distance_m)

    parts = _in_parts(ask, shapes)
    begin = np.cumsum([0] + [size for size, _ in parts[:-1]])
    rows = np.concatenate([found[0] + first for first, (_, found) in zip(begin, parts)])
    return rows, np.concatenate([found[1] for _, found in parts])


def by_pairs(function: Callable[..., np.ndarray], *columns: np.ndarray) -> np.ndarray:
    """A function of shapely row by row over columns of equal length."""
    return np.concatenate([result for _, result in _in_parts(function, *columns)])


def _in_parts(function: Callable[..., np.ndarray], *columns: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """The function on consecutive parts of the columns: length and result of each."""
    count = len(columns[0])
    threads = max(min(os.cpu_count() or 1, _MOST_THREADS, count // _LEAST), 1)
    parts = list(zip(*(np.array_split(column, threads) for column in columns)))
    if threads == 1:
        results = [function(*part) for part in parts]
    else:
        with ThreadPoolExecutor(threads) as pool:
            results = list(pool.map(lambda part: function(*part), parts))
    return [(len(part[0]), result) for part, result in zip(parts, results)]
