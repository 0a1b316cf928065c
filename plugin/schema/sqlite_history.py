"""The history as SQLite triggers (what they write: history.py). They call nothing that an SQLite without extensions
does not have, JSON functions included.

SQLite fires no trigger for a row that INSERT OR REPLACE or UPDATE OR REPLACE pushes out, and tells no trigger whether
the statement is one. But a statement inside a trigger follows the outer statement's way with conflicts: so writing the
note once more, which is ignored in a plain INSERT, goes through in a REPLACE and marks it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from .declare import Layer
from .history import ROW_NUMBER, WITHOUT_KEY, declared_columns
from .rules import fill, literal, quoted

NOTE_TABLE = (
    "CREATE TABLE history_note (one INTEGER PRIMARY KEY CHECK (one = 1), batch TEXT, who TEXT, why TEXT, "
    "replacing INTEGER NOT NULL DEFAULT 0)"
)
NOTE_ROW = "INSERT INTO history_note (one) VALUES (1)"

IS_REPLACE = "EXISTS (SELECT 1 FROM history_note WHERE replacing)"

_MARK = """INSERT OR IGNORE INTO history_note SELECT one, batch, who, why, 1 FROM history_note
    WHERE EXISTS (SELECT 1 FROM {table} AS pushed WHERE {pushed_out});"""

_UNMARK = "UPDATE history_note SET replacing = 0 WHERE replacing;"

_ENTRY = """INSERT INTO history (batch, layer, key, new_key, action, at, who, why, before)
  SELECT note.batch, {layer}, {key}, {new_key}, {action}, strftime('%Y-%m-%dT%H:%M:%fZ', 'now'), {who}, note.why,
    {before}
  FROM (SELECT 1) LEFT JOIN history_note AS note{others};"""

_TRIGGERS = {
    "insert": "AFTER INSERT ON {table}\nBEGIN\n  {unmark}\n  {entry}\nEND",
    "update": "AFTER UPDATE ON {table}\nBEGIN\n  {unmark}\n  {entry}\nEND",
    # where recursive triggers are on, a REPLACE fires this one too
    "delete": "AFTER DELETE ON {table}\nWHEN NOT {is_replace}\nBEGIN\n  {entry}\nEND",
    "pushed_by_insert": "BEFORE INSERT ON {table}\nBEGIN\n  {mark}\n  {entry}\nEND",
    "pushed_by_update": "BEFORE UPDATE ON {table}\nBEGIN\n  {mark}\n  {entry}\nEND",
}

_GUARDS = {
    "update": "BEFORE UPDATE ON history\nBEGIN\n  {refuse}\nEND",
    "delete": "BEFORE DELETE ON history\nBEGIN\n  {refuse}\nEND",
    "insert": "BEFORE INSERT ON history\nWHEN EXISTS (SELECT 1 FROM history WHERE seq = NEW.seq)\nBEGIN\n  {refuse}\n"
    "END",
}
_REFUSE = "SELECT RAISE(ABORT, 'The history is kept by the archive itself: its rows cannot be changed or deleted.');"

# 17 digits say which double it is; SQLite's own arithmetic now and then errs in the last, which shows on reading back
_REAL = (
    "replace(CASE WHEN CAST(printf('%!.17g', x) AS REAL) = x THEN printf('%!.17g', x) ELSE printf('%!.20g', x) END, "
    "'Inf', '9.0e+999')"
)
_ODD_CHARACTERS = "'*[' || char(1) || '-' || char(8) || char(11, 12, 14) || '-' || char(31) || ']*'"
_TEXT = (
    "'\"' || replace(replace(replace(replace(replace(x, '\\', '\\\\'), '\"', '\\\"'), char(10), '\\n'), "
    "char(13), '\\r'), char(9), '\\t') || '\"'"
)
_ROW = """(SELECT '{' || group_concat(name || ':' || CASE typeof(x)
      WHEN 'null' THEN 'null' WHEN 'integer' THEN x WHEN 'real' THEN {real}
      WHEN 'blob' THEN CASE name WHEN '"geom"' THEN '"' || hex(x) || '"' ELSE '{"hex":"' || hex(x) || '"}' END
      ELSE CASE WHEN x GLOB {odd} OR instr(CAST(x AS BLOB), x'00') THEN '{"text":"' || hex(x) || '"}'
        ELSE {text} END END) || '}'
    FROM ({columns}))"""


def history_triggers(layer: Layer, columns: Sequence[str] = ()) -> tuple[str, ...]:
    """CREATE TRIGGER statements that keep the history of `layer`, whose table has `columns` (default: as declared)."""
    columns = columns or declared_columns(layer)
    return tuple(
        f"CREATE TRIGGER {quoted(f'{layer.name}_history_{name}')} "
        + fill(
            template,
            table=quoted(layer.name),
            unmark=_UNMARK,
            is_replace=IS_REPLACE,
            mark=mark_replace(layer, "UPDATE" if name.endswith("update") else "INSERT"),
            entry=_entry(layer, name, columns),
        )
        for name, template in _TRIGGERS.items()
    )


def guard_triggers() -> tuple[str, ...]:
    """CREATE TRIGGER statements that keep the rows of the history as they were written."""
    return tuple(
        f"CREATE TRIGGER {quoted(f'history_kept_{name}')} " + fill(template, refuse=_REFUSE)
        for name, template in _GUARDS.items()
    )


def mark_replace(layer: Layer, event: str) -> str:
    """A statement for BEFORE triggers on `event` (INSERT, UPDATE): marks the note where this is a REPLACE that pushes
    out a row of `layer`."""
    return fill(_MARK, table=quoted(layer.name), pushed_out=_pushed_out(layer, event))


def _pushed_out(layer: Layer, event: str) -> str:
    """Which rows `pushed` the row NEW would push out in a REPLACE."""
    unique = [ROW_NUMBER] + ([layer.key.name] if layer.key else [])
    same = " OR ".join(f"pushed.{quoted(column)} = NEW.{quoted(column)}" for column in unique)
    other_row = f" AND pushed.{quoted(ROW_NUMBER)} <> OLD.{quoted(ROW_NUMBER)}" if event == "UPDATE" else ""
    return f"({same}){other_row}"


def _entry(layer: Layer, trigger: str, columns: Sequence[str]) -> str:
    """The statement that writes the row of the history."""
    old, new, pushed = (key_sql(layer, row) for row in ("OLD.", "NEW.", "pushed."))
    parts = {"new_key": "NULL", "who": 'coalesce(note.who, NEW."edited_by")', "before": "NULL", "others": ""}
    action = trigger
    if trigger == "insert":
        parts["key"] = new
    elif trigger == "update":
        parts.update(key=old, new_key=f"CASE WHEN {old} IS NOT {new} THEN {new} END", before=_row(columns, "OLD."))
    elif trigger == "delete":
        parts.update(key=old, who="note.who", before=_row(columns, "OLD."))
    else:
        # before an INSERT the number of a row that is given none reads as -1
        keyless = layer.key is None or not layer.key.required
        new = f"CASE WHEN NEW.{quoted(ROW_NUMBER)} <> -1 THEN {new} END" if keyless else new
        event = "UPDATE" if trigger.endswith("update") else "INSERT"
        others = f", {quoted(layer.name)} AS pushed\n  WHERE note.replacing AND {_pushed_out(layer, event)}"
        parts.update(key=pushed, new_key=new, before=_row(columns, "pushed."), others=others)
        action = "replaced"
    return fill(_ENTRY, layer=literal(layer.name), action=literal(action), **parts)


def key_sql(layer: Layer, row: str) -> str:
    """What a row is called in the history, as SQL; `row` is a prefix like OLD."""
    number = f"{literal(WITHOUT_KEY)} || {row}{quoted(ROW_NUMBER)}"
    if layer.key is None:
        return number
    key = f"CAST({row}{quoted(layer.key.name)} AS TEXT)"
    return key if layer.key.required else f"coalesce({key}, {number})"


def _row(columns: Sequence[str], row: str) -> str:
    """JSON of all columns of a row, as SQL."""
    head, *rest = ((literal(json.dumps(column, ensure_ascii=False)), row + quoted(column)) for column in columns)
    selects = ["SELECT {} AS name, {} AS x".format(*head), *("SELECT {}, {}".format(*pair) for pair in rest)]
    return fill(_ROW, real=_REAL, odd=_ODD_CHARACTERS, text=_TEXT, columns=" UNION ALL ".join(selects))
