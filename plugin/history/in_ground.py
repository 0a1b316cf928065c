"""Which pipe of an archive lay in the ground on a day, by the days it was laid and left.

Pipe that lay there then carries water in the drawing, whatever became of it later. What was abandoned before lies there
still and is drawn as such; what was not laid yet, is only proposed, or was taken out before, is left out. Days are
those of `in_ground_from` (else `installed_on`) and `in_ground_to`, both included. Where they are unknown the status
speaks, and it is said.
"""

from __future__ import annotations

import datetime
import sqlite3

_LEFT_OUT = """DELETE FROM drains WHERE status = 'proposed' OR coalesce(in_ground_from, installed_on) > :day
OR (status = 'removed' AND in_ground_to < :day)"""
_LAY_THERE = "UPDATE drains SET status = 'in_ground' WHERE status IN ('abandoned', 'removed') AND in_ground_to >= :day"
_LEFT_SINCE = """UPDATE drains SET status = 'abandoned'
WHERE coalesce(status, 'in_ground') = 'in_ground' AND in_ground_to < :day"""
_WITHOUT_DAY = "SELECT count(*) FROM drains WHERE status IN ('abandoned', 'removed') AND in_ground_to IS NULL"


def leave_in_ground(drawing: sqlite3.Connection, day: datetime.date) -> list[str]:
    """Change the drains of a drawing to those of `day`, and return sentences on what is not certain."""
    for statement in (_LEFT_OUT, _LAY_THERE, _LEFT_SINCE):
        drawing.execute(statement, {"day": day.isoformat()})
    ((count,),) = drawing.execute(_WITHOUT_DAY).fetchall()
    if not count:
        return []
    are = "drain is" if count == 1 else "drains are"
    return [
        f"{count:,} {are} abandoned or removed without a last day in the ground: drawn as they are now. Fill in "
        "'In the ground to' where it is known."
    ]
