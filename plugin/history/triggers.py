"""Whether all triggers of an archive are there and right, and putting them back."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from ..schema.declare import Layer
from ..schema.history import GAP, HISTORY, NOTE
from ..schema.layers import LAYERS
from ..schema.rules import fill, quoted
from ..schema.sqlite import triggers
from ..schema.sqlite_history import NOTE_ROW, NOTE_TABLE
from .file import transaction

_NOW = "strftime('%Y-%m-%dT%H:%M:%fZ', 'now')"


@dataclass(frozen=True)
class TriggerFault:
    """A layer whose changes were not, or not fully, watched. `lost`: whether changes may be missing in the history."""

    layer: str
    sentence: str
    lost: bool


def trigger_faults(connection: sqlite3.Connection) -> list[TriggerFault]:
    """Layers whose triggers are missing or are not those their columns need. Takes a few milliseconds."""
    present = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    faults = [] if note_is_there(connection) else [_NO_NOTE]
    for layer in LAYERS:
        columns = columns_of(connection, layer.name)
        wanted = _wanted(layer, columns)
        if any(present.get(name) != statement for name, statement in wanted.items()):
            faults.append(_fault(layer, columns, {name: present.get(name) for name in wanted}))
    return faults


def put_triggers_back(connection: sqlite3.Connection, who: str = "") -> list[TriggerFault]:
    """Make all triggers anew where one is not right, in a transaction of its own, and say so in the history."""
    if not trigger_faults(connection):
        return []
    with transaction(connection):
        faults = trigger_faults(connection)
        make_triggers(connection)
        for fault in faults:
            log_note(connection, fault.layer, GAP if fault.lost else None, f"{fault.sentence} Put right.", who)
    return faults


def make_triggers(connection: sqlite3.Connection) -> None:
    """All triggers of the archive, and the note they read, as this version makes them."""
    if not note_is_there(connection):
        connection.execute(fill("DROP TABLE IF EXISTS {note}", note=NOTE))
        connection.execute(NOTE_TABLE)
        connection.execute(NOTE_ROW)
    drop_triggers(connection)
    for layer in LAYERS:
        for statement in _wanted(layer, columns_of(connection, layer.name)).values():
            connection.execute(statement)


def drop_triggers(connection: sqlite3.Connection) -> None:
    """Take the archive's own triggers away, as for a drawing that is written as a whole."""
    for layer in LAYERS:
        for name in _wanted(layer, columns_of(connection, layer.name)):
            connection.execute(fill("DROP TRIGGER IF EXISTS {name}", name=quoted(name)))


def log_note(connection: sqlite3.Connection, layer: str, action: str | None, why: str, who: str) -> None:
    """Say in the history what was mended. `action`: GAP where changes of the layer may be missing before this moment,
    None where nothing was lost."""
    statement = fill("INSERT INTO history (layer, action, at, who, why) VALUES (?, ?, {now}, ?, ?)", now=_NOW)
    connection.execute(statement, (layer, action, who or None, why))


def note_is_there(connection: sqlite3.Connection) -> bool:
    """Whether the note that triggers read has its columns and its one row."""
    columns = [row[1] for row in connection.execute(fill("PRAGMA table_info({note})", note=NOTE))]
    if columns != ["one", "batch", "who", "why", "replacing"]:
        return False
    return connection.execute(fill("SELECT count(*) FROM {note}", note=NOTE)).fetchone() == (1,)


def columns_of(connection: sqlite3.Connection, layer: str) -> list[str]:
    """The columns the table of a layer has, those included that somebody added; none if there is no table."""
    return [row[1] for row in connection.execute(fill("PRAGMA table_info({table})", table=quoted(layer)))]


_NO_NOTE = TriggerFault(
    NOTE, "The note that tells the history of batches was missing: batches in progress were not named.", False
)


def _wanted(layer: Layer, columns: list[str]) -> dict[str, str]:
    """Name of the trigger -> statement, for the table of a layer; nothing where there is no table."""
    statements = triggers(layer, columns) if columns else ()
    return {statement.split(None, 3)[2].strip('"'): statement for statement in statements}


def _fault(layer: Layer, columns: list[str], present: dict[str, str | None]) -> TriggerFault:
    if layer.name == HISTORY:
        return TriggerFault(layer.name, "The history was not guarded against changes of its own rows.", True)
    named = f"'{layer.title}' ({layer.name})"
    missing = [name for name, statement in present.items() if statement is None]
    kept = present.get(f"{layer.name}_history_delete") or ""
    added = [column for column in columns if f"OLD.{quoted(column)}" not in kept]
    if any("_history_" in name for name in missing):
        sentence = (
            f"The triggers of {named} were missing, as after its table was replaced as a whole: changes until now may "
            "be missing in the history."
        )
        return TriggerFault(layer.name, sentence, True)
    if missing:
        return TriggerFault(layer.name, f"The triggers that keep the rules of {named} were missing.", False)
    if added:
        sentence = (
            f"{named} was given columns that its history did not keep ({', '.join(added)}): what was in them before "
            "is not known."
        )
        return TriggerFault(layer.name, sentence[:1].upper() + sentence[1:], True)
    return TriggerFault(layer.name, f"The triggers of {named} were those of another version of Fallkeeper.", False)
