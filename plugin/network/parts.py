"""Asking shapely about very many shapes a part at a time: it keeps other threads, the window's too, waiting meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import shapely

_AT_ONCE = 10_000


def parts(count: int, at_once: int = _AT_ONCE) -> Iterator[slice]:
    """Parts of so many rows."""
    for start in range(0, count, at_once):
        yield slice(start, min(start + at_once, count))


def in_parts(make: Callable[[np.ndarray], np.ndarray], rows: np.ndarray) -> np.ndarray:
    """What `make` makes of every row."""
    made = [make(rows[part]) for part in parts(len(rows))]
    return np.concatenate(made) if made else make(rows)


def query_in_parts(
    tree: shapely.STRtree, shapes: np.ndarray, at_once: int = _AT_ONCE, **how: object
) -> tuple[np.ndarray, np.ndarray]:
    """`tree.query(shapes, **how)`: rows of the shapes, and rows of the tree."""
    found = [tree.query(shapes[part], **how) + np.array([[part.start], [0]]) for part in parts(len(shapes), at_once)]
    row, hit = np.concatenate(found, axis=1) if found else np.zeros((2, 0), dtype=np.int64)
    return row, hit
