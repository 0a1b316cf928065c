"""Opening the file of an archive with SQLite, and saying its faults in a sentence."""

from __future__ import annotations

import sqlite3
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from ..schema import SCHEMA_VERSION
from ..schema.faults import ArchiveError, NoArchiveError
from . import blobs

PATIENCE_S = 5.0  # with another program that is just writing

# words of SQLite -> what they mean to the user; "{path}" is the file
_SENTENCES = {
    "locked": "{path} is being written by another program, or a layer of it is being saved: nothing was changed. "
    "Finish there and run again.",
    "readonly": "{path} cannot be written: it, or its folder, is read-only. Make it writable, or work on a copy.",
    "unable to open": "{path} cannot be opened: look whether the folder is there and may be read and written.",
    "full": "The disk is full: nothing was changed in {path}. Make room and run again.",
    "disk i/o": "The disk refused to read or write {path}: nothing was changed. Look at the disk, and work on a local "
    "one.",
    "malformed": "{path} is damaged: nothing was changed. Keep it, and go on with your last copy.",
    "could not decode": "{path} is damaged: nothing was changed. Keep it, and go on with your last copy.",
    "rtree": "The spatial index of {path} is damaged: nothing was changed. Keep it, and go on with your last copy.",
    "not a database": "{path} is damaged or no GeoPackage: choose an archive, or go on with your last copy.",
}
_ELSE = "{path} cannot be used ({error}): nothing was changed. Run again; if it stays so, go on with your last copy."
_OF_DAMAGE = (*(_SENTENCES[mark] for mark in ("malformed", "rtree", "not a database")), _ELSE)


def open_archive(path: Path, write: bool = False) -> sqlite3.Connection:
    """The file of an archive, in autocommit and with the functions its triggers call. To be closed by the caller.

    Raises ArchiveError: no file, no archive, damaged; with `write` also one of another schema version.
    """
    if not path.is_file():
        raise ArchiveError(f"There is no file {path}: choose an archive.")
    with told_plainly(path):
        connection = sqlite3.connect(str(path), PATIENCE_S, isolation_level=None)
        try:
            _lend_functions(connection)
            if not write:
                connection.execute("PRAGMA query_only = ON")
            if write:
                must_be_current(connection, path)
            else:
                schema_version(connection, path)
        except BaseException:
            connection.close()
            raise
    return connection


@contextmanager
def told_plainly(path: Path, copied_from: Path | None = None) -> Iterator[None]:
    """Turns errors of SQLite into an ArchiveError with a sentence on `path`; damage came with the file it was
    `copied_from`."""
    try:
        yield
    except sqlite3.IntegrityError as error:
        raise ArchiveError(f"{error} (nothing was changed in {path})") from error
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        said = "malformed" if isinstance(error, UnicodeDecodeError) else str(error).lower()
        sentence = next((words for mark, words in _SENTENCES.items() if mark in said), _ELSE)
        about = copied_from if copied_from is not None and sentence in _OF_DAMAGE else path
        raise ArchiveError(sentence.replace("{error}", str(error)).replace("{path}", str(about))) from error


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All or nothing: any exception takes back what was done inside."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def schema_version(connection: sqlite3.Connection, path: Path) -> int:
    """Which version of the layers the file has; ArchiveError if it is no archive."""
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not {"archive", "drains", "history", "gpkg_contents"} <= tables:
        raise NoArchiveError(f"{path} is no archive of Fallkeeper: choose one, or make one with 'Create archive'.")
    row = connection.execute("SELECT schema_version FROM archive").fetchone()
    if row is None or not isinstance(row[0], int):
        raise ArchiveError(f"The table archive of {path} does not say its schema version: enter it there.")
    return row[0]


def is_newer(version: int) -> bool:
    """Whether a file was made by a later version of the plugin: it is read, not changed."""
    return version > SCHEMA_VERSION


def must_be_current(connection: sqlite3.Connection, path: Path) -> None:
    """ArchiveError with what to do if the file is no archive or one of another schema version."""
    version = schema_version(connection, path)
    if is_newer(version):
        raise ArchiveError(
            f"{path} was made by a newer Fallkeeper (schema {version}, this one knows {SCHEMA_VERSION}): it can be "
            "read, not changed. Update the plugin."
        )
    if version < SCHEMA_VERSION:
        raise ArchiveError(
            f"{path} is an archive of an older version (schema {version}, now {SCHEMA_VERSION}): it can be read, not "
            "changed. Run 'Bring archive up to date' first; it takes a copy before."
        )


def _lend_functions(connection: sqlite3.Connection) -> None:
    """The functions that the triggers of a GeoPackage's spatial index call."""
    for name, of_box in {
        "ST_MinX": lambda box: box.min_x,
        "ST_MinY": lambda box: box.min_y,
        "ST_MaxX": lambda box: box.max_x,
        "ST_MaxY": lambda box: box.max_y,
    }.items():
        connection.create_function(name, 1, _on_box(of_box))
    connection.create_function("ST_IsEmpty", 1, lambda blob: None if blob is None else int(_box(blob) is None))


def _on_box(function: Callable[[blobs.Box], float]) -> Callable[[bytes | None], float | None]:
    def called(blob: bytes | None) -> float | None:
        box = _box(blob)
        return None if box is None else function(box)

    return called


def _box(blob: bytes | None) -> blobs.Box | None:
    """None also for bytes that are no geometry: the rules of the archive refuse those with their own sentence."""
    try:
        return blobs.box_of(blob) if blob else None
    except (struct.error, ValueError, IndexError, TypeError):
        return None
