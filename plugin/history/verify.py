"""Whether an archive in a file is whole: the file itself, its tables, keys, triggers and history; and what of that can
be put right without touching a row."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from ..schema import SCHEMA_VERSION
from ..schema.faults import ArchiveError
from ..schema.history import GAP
from .chain import chain_faults
from .file import is_newer, must_be_current, open_archive, schema_version, told_plainly, transaction
from .structure import columns_to_put_back, key_faults, put_column_back, structure_faults
from .triggers import log_note, put_triggers_back, trigger_faults

_STEPS_BETWEEN = 20_000  # of SQLite's machine, between two questions whether to stop
_MOST_DAMAGES = 20

FILE, SCHEMA, COLUMN, TRIGGER, GAP_FOUND = "file", "schema", "column", "trigger", "gap"


class CanceledError(Exception):
    """The user stopped the work; nothing was changed."""


@dataclass(frozen=True)
class Fault:
    """What is not as it should be. `kind`: file, schema, table, column, trigger, key, gap. `mended`: whether it was put
    right, or for a gap, written into the history."""

    kind: str
    layer: str
    sentence: str
    mended: bool = False


@dataclass(frozen=True)
class Verified:
    """What was found, worst first, and why nothing could be mended ('' where it could or need not)."""

    faults: tuple[Fault, ...]
    not_mended: str = ""

    @property
    def mended(self) -> tuple[Fault, ...]:
        return tuple(fault for fault in self.faults if fault.mended)


def verify_archive(
    path: Path, who: str = "", mend: bool = True, is_canceled: Callable[[], bool] = lambda: False
) -> Verified:
    """Look an archive over. With `mend` missing triggers and columns (empty) are put back, and that and gaps found are
    written into its history; where the file cannot be written, or is damaged, it is only said.

    Reads the whole file once. ArchiveError with a sentence: no file, no archive, one of a newer version; CanceledError.
    """
    try:
        with closing(open_archive(path)) as connection, told_plainly(path):
            connection.set_progress_handler(lambda: int(is_canceled()), _STEPS_BETWEEN)
            faults = () if is_canceled() else _found(connection, path)
    except ArchiveError:
        if is_canceled():
            raise CanceledError from None
        raise
    if is_canceled():
        raise CanceledError
    can_be_mended = any(fault.kind in (COLUMN, TRIGGER, GAP_FOUND) for fault in faults)
    if not mend or not can_be_mended or faults[0].kind in (FILE, SCHEMA):
        return Verified(faults)
    try:
        return Verified(_mended(path, who, faults))
    except ArchiveError as fault:
        return Verified(faults, str(fault))


def _found(connection: sqlite3.Connection, path: Path) -> tuple[Fault, ...]:
    if is_newer(schema_version(connection, path)):
        must_be_current(connection, path)
    damages = _damages(connection, path)
    if damages:
        return damages
    version = schema_version(connection, path)
    if version < SCHEMA_VERSION:
        return (Fault(SCHEMA, "archive", f"The archive is of an older version (schema {version}, now "
                                         f"{SCHEMA_VERSION}): it can be read, not changed. Run 'Bring archive up to "
                                         "date'; it takes a copy before."),)
    return (
        *(Fault(*found) for found in structure_faults(connection)),
        *(Fault(*found) for found in key_faults(connection)),
        *(Fault(TRIGGER, fault.layer, fault.sentence) for fault in trigger_faults(connection)),
        *(Fault(GAP_FOUND, *found) for found in chain_faults(connection)),
    )


def _damages(connection: sqlite3.Connection, path: Path) -> tuple[Fault, ...]:
    """What SQLite says of the file itself."""
    try:
        found = [words for (words,) in connection.execute(f"PRAGMA integrity_check({_MOST_DAMAGES})")]
    except sqlite3.DatabaseError as damage:
        if "malformed" not in str(damage):
            raise
        found = [str(damage)]
    if found == ["ok"]:
        return ()
    return (Fault(
        FILE, "", f"{path} is damaged ({found[0]}{', and more' if len(found) > 1 else ''}): nothing was changed. Keep "
        "it as it is, and go on with your last copy."
    ),)


def _mended(path: Path, who: str, faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    with closing(open_archive(path, write=True)) as connection, told_plainly(path):
        with transaction(connection):
            for layer, sentence in chain_faults(connection):
                log_note(connection, layer, GAP, sentence, who)
            for layer, field in list(columns_to_put_back(connection)):
                put_column_back(connection, layer, field)
                log_note(connection, layer.name, None, f"The column {field.name} was missing: put back, empty.", who)
        put_triggers_back(connection, who)
        left = {(TRIGGER, fault.layer) for fault in trigger_faults(connection)}
        left |= {(kind, layer) for kind, layer, _ in structure_faults(connection)}
        left |= {(kind, layer) for kind, layer, _ in key_faults(connection)}
    return tuple(
        Fault(fault.kind, fault.layer, fault.sentence, (fault.kind, fault.layer) not in left) for fault in faults
    )
