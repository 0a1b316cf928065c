"""What the history of an archive in a file tells of the drains, in metres."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from ..checks.edits import Edits, GivenInvert
from ..history.file import open_archive, schema_version, told_plainly
from ..history.moved_ends import moved_ends
from ..history.triggers import trigger_faults
from ..schema.faults import ArchiveError

_FIRST_WITH_HISTORY = 2


def read_edits(path: str, unit_m: float, length_m: float) -> Edits | None:
    """None where the file at `path` ('': no file) is no archive with a history, or cannot be read.

    `unit_m`: metres of the unit of its coordinates; `length_m`: of its figures.
    """
    if not path:
        return None
    try:
        with closing(open_archive(Path(path))) as connection, told_plainly(Path(path)):
            if schema_version(connection, Path(path)) < _FIRST_WITH_HISTORY:
                return None
            found, known = moved_ends(connection)
            watched = not any(fault.lost and fault.layer == "drains" for fault in trigger_faults(connection))
    except ArchiveError:
        return None
    ends = tuple(
        GivenInvert(
            end.key, end.at_end, (end.place[0] * unit_m, end.place[1] * unit_m),
            (end.other[0] * unit_m, end.other[1] * unit_m), end.invert * length_m, end.at[:10], end.who, end.split,
        )
        for end in found
    )
    return Edits(ends, known if watched else frozenset())
