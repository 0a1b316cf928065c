"""Making very many Python objects at once."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def many_objects() -> Iterator[None]:
    """Python's search for cyclic garbage waits while very many objects are made.

    Shapes hold nothing that could be garbage of that kind, yet the search would go through all of them again and
    again: making 200,000 lines takes a quarter of the time without it. It is put back as it was.
    """
    searching = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searching:
            gc.enable()
