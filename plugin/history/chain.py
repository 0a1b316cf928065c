"""Gaps in a history that nobody noticed: entries of one row that do not follow from each other, and rows that came or
went without an entry.

Only rows with a key can be followed; a change of a row that came between two entries and left it there is not seen.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterator

from ..schema.declare import Layer
from ..schema.history import GAP, INSERT, UPDATE
from ..schema.layers import LAYERS
from ..schema.rules import fill, quoted
from .triggers import columns_of

_ENTRIES = "SELECT layer, key, new_key, action FROM history WHERE action IS NOT NULL ORDER BY seq"
_KEYS = "SELECT CAST({key} AS TEXT) FROM {table} WHERE {key} IS NOT NULL"
_SHOWN = 3  # keys named in a sentence

_CAME, _WENT = "came", "went"


def chain_faults(connection: sqlite3.Connection) -> Iterator[tuple[str, str]]:
    """(layer, sentence) of every layer of whose rows some came or went without an entry since its last known gap."""
    there, lost = _follow(connection)
    for layer in LAYERS:
        if not _is_followed(layer) or layer.key.name not in columns_of(connection, layer.name):
            continue
        found = lost[layer.name]
        statement = fill(_KEYS, key=quoted(layer.key.name), table=quoted(layer.name))
        now = {key for (key,) in connection.execute(statement)}
        for key, is_there in there[layer.name].items():
            if is_there != (key in now):
                found[key] = _CAME if key in now else _WENT
        if found:
            yield layer.name, _sentence(layer, found)


def _follow(connection: sqlite3.Connection) -> tuple[dict[str, dict[str, bool]], dict[str, dict[str, str]]]:
    """By layer: which rows are there after the last entry, and how rows came or went between two entries."""
    there: dict[str, dict[str, bool]] = defaultdict(dict)
    lost: dict[str, dict[str, str]] = defaultdict(dict)
    for layer, key, new_key, action in connection.execute(_ENTRIES):
        rows = there[layer]
        if action == GAP:
            rows.clear()
            lost[layer].clear()
        elif action == INSERT:
            if rows.get(key) is True:
                lost[layer][key] = _WENT
            rows[key] = True
        else:
            if rows.get(key) is False:
                lost[layer][key] = _CAME
            rows[key] = False
            if action == UPDATE:
                rows[new_key or key] = True
    return there, lost


def _is_followed(layer: Layer) -> bool:
    return layer.key is not None and layer.key.required


def _sentence(layer: Layer, found: dict[str, str]) -> str:
    parts = []
    for how, word in ((_WENT, "gone"), (_CAME, "added")):
        keys = sorted(key for key, way in found.items() if way == how)
        if keys:
            named = ", ".join(keys[:_SHOWN]) + (" and more" if len(keys) > _SHOWN else "")
            parts.append(f"{len(keys):,} {'row' if len(keys) == 1 else 'rows'} {word} without an entry ({named})")
    return (
        f"The history of '{layer.title}' ({layer.name}) has a gap: {' and '.join(parts)}, as when another program "
        "changed the file past its triggers. What was there before can only be found in a copy."
    )
