"""Bulk work of shapely on all cores, by threads: it lets go of Python's lock while it works."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

_LEAST = 4000  # below this many shapes a thread costs more than it brings
_MOST_THREADS = 8


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
