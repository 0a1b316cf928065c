"""Whether another program keeps a file to itself: opening it all the same would make the window wait for minutes."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

LOCKED = (
    "{path} is kept locked by another program, so it cannot be read now: close it there, or wait until it has saved, "
    "then press Read again. Nothing was changed."
)


def is_locked(place: object) -> bool:
    """Asks once, without waiting. Only files can be locked so."""
    if not isinstance(place, Path):
        return False
    try:
        with closing(sqlite3.connect(f"{place.absolute().as_uri()}?mode=ro", uri=True, timeout=0.0)) as file:
            file.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as fault:
        return "locked" in str(fault)
    except sqlite3.DatabaseError:
        return False  # whoever reads it says what is wrong with it
    return False
