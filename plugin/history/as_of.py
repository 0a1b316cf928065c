"""Draws an archive as it was: a new file with the layers as they stood, for looking and comparing."""

from __future__ import annotations

import datetime
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from ..schema.declare import Layer
from ..schema.faults import ArchiveError
from ..schema.history import GAP, logged_layers
from ..schema.rules import fill, quoted
from ..schema.sqlite_history import key_sql
from .file import must_be_current, open_archive, told_plainly, transaction
from .in_ground import leave_in_ground
from .past import Difference, entry_at, gaps_after, walk_back
from .progress import Progress
from .triggers import columns_of, drop_triggers, log_note, make_triggers

_PAGES_AT_ONCE = 2000
_ENDINGS = ("", "-journal", "-wal", "-shm")

_DELETE = "DELETE FROM {table} WHERE {key} IN (SELECT name FROM temp.gone)"
_INSERT = "INSERT INTO {table} ({columns}) VALUES ({marks})"
_COUNT = "SELECT count(*) FROM {table}"


@dataclass
class Drawn:
    """What was drawn: rows by layer, how many later entries of the history it leaves out, and sentences on what is not
    certain."""

    rows: dict[str, int]
    changes_since: int
    cautions: list[str] = field(default_factory=list)


def draw_archive(
    path: Path,
    to: Path,
    day: datetime.date | None = None,
    known_on: datetime.datetime | None = None,
    progress: Progress | None = None,
    called: str = "",
) -> Drawn:
    """Write to the new file `to` what the archive at `path` knew at `known_on` (with time zone; default: now) of the
    pipe that was in the ground on `day` (default: all there is). The archive is only read.

    The new file is an archive of its own, with its history until then, forms and styles; its name and note say what
    it shows, of the archive `called` so (default: the name of its file). Raises ArchiveError and CanceledError; then
    there is no new file.
    """
    progress = progress or Progress()
    if to.exists():
        raise ArchiveError(f"{to} exists already: nothing is overwritten. Choose another file name.")
    if not to.parent.is_dir():
        raise ArchiveError(f"The folder {to.parent} does not exist: choose another one.")
    # what is broken off never looks like an archive
    part = to.with_name(to.name + ".part")
    _remove(part)
    try:
        _copy(path, part, to, progress)
        with closing(open_archive(part)) as drawing, told_plainly(to, copied_from=path):
            must_be_current(drawing, path)
            drawing.execute("PRAGMA query_only = OFF")
            drawing.execute("PRAGMA journal_mode = DELETE")
            drawing.execute("PRAGMA synchronous = OFF")  # the file is new: if the power fails it is made again
            with transaction(drawing):
                drawn = _draw(drawing, day, known_on, progress)
                _say_what_it_is(drawing, called or path.name, day, known_on)
        part.rename(to)
    except BaseException:
        _remove(part)
        raise
    return drawn


def _remove(part: Path) -> None:
    for ending in _ENDINGS:
        part.with_name(part.name + ending).unlink(missing_ok=True)


def _copy(path: Path, part: Path, to: Path, progress: Progress) -> None:
    def on_pages(status: int, left: int, total: int) -> None:
        progress.at(0.4 * (1 - left / max(total, 1)))

    with closing(open_archive(path)) as source:
        must_be_current(source, path)
        with told_plainly(to, copied_from=path), closing(sqlite3.connect(str(part))) as copy:
            source.backup(copy, pages=_PAGES_AT_ONCE, progress=on_pages)


def _draw(
    drawing: sqlite3.Connection, day: datetime.date | None, known_on: datetime.datetime | None, progress: Progress
) -> Drawn:
    ((latest,),) = drawing.execute("SELECT coalesce(max(seq), 0) FROM history").fetchall()
    seq = latest if known_on is None else entry_at(drawing, known_on)
    cautions = [] if known_on is None else _cautions(drawing, seq)
    drop_triggers(drawing)
    drawing.execute("CREATE TEMP TABLE gone (name TEXT PRIMARY KEY)")
    layers = [layer for layer in logged_layers() if columns_of(drawing, layer.name)]
    for place, layer in enumerate(layers):
        progress.at(0.4 + 0.5 * place / len(layers))
        if seq < latest:
            _set_back(drawing, layer, walk_back(drawing, layer.name, seq))
    drawing.execute("DELETE FROM history WHERE seq > ?", (seq,))
    if day is not None:
        cautions += leave_in_ground(drawing, day)
        log_note(drawing, "drains", GAP, f"Drawn as they lay in the ground on {day}.", "")
    progress.at(0.95)
    return Drawn({layer.name: _count(drawing, layer.name) for layer in layers}, latest - seq, cautions)


def _set_back(drawing: sqlite3.Connection, layer: Layer, difference: Difference) -> None:
    drawing.execute("DELETE FROM temp.gone")
    drawing.executemany("INSERT INTO temp.gone VALUES (?)", ((name,) for name in difference.gone))
    drawing.execute(fill(_DELETE, table=quoted(layer.name), key=key_sql(layer, "")))
    columns = columns_of(drawing, layer.name)
    names, marks = ", ".join(quoted(column) for column in columns), ", ".join("?" * len(columns))
    drawing.executemany(
        fill(_INSERT, table=quoted(layer.name), columns=names, marks=marks),
        ([row.get(column) for column in columns] for row in difference.rows),
    )


def _cautions(drawing: sqlite3.Connection, seq: int) -> list[str]:
    said = [
        f"{layer}, {at[:16].replace('T', ' ')} UTC: {why} So it is drawn as far as it is known."
        for layer, at, why in gaps_after(drawing, seq)
    ]
    if not seq:
        said.append(
            "The history begins later than that: what it does not tell of is drawn as it was when the history began."
        )
    return said


def _say_what_it_is(
    drawing: sqlite3.Connection, called: str, day: datetime.date | None, known_on: datetime.datetime | None
) -> None:
    """In the row about the archive, and from then on the drawing keeps its own history."""
    shown = [f"in the ground on {day}"] if day else []
    shown += [f"as known on {known_on:%Y-%m-%d %H:%M}"] if known_on else []
    words = ", ".join(shown) or "as it was when this was drawn"
    drawing.execute(
        "UPDATE archive SET name = coalesce(name, '') || ?, note = ?",
        (f" ({words})", f"Drawn from {called}: {words}. Changes here do not reach that archive."),
    )
    make_triggers(drawing)


def _count(drawing: sqlite3.Connection, table: str) -> int:
    return drawing.execute(fill(_COUNT, table=quoted(table))).fetchone()[0]
