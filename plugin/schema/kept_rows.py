"""A row as the history keeps it in `before` (history.py), read back.

Files and databases write the same but for the geometry: a GeoPackage keeps its own blob, a database plain well-known
binary.
"""

from __future__ import annotations

import json

from .history import GEOMETRY

# bytes of the envelope by the code in bits 1 to 3 of the flags of a GeoPackage geometry
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_HEADER_BYTES = 8


def read_kept_row(before: str) -> dict[str, object]:
    """Column -> value, None where unknown; the geometry as well-known binary. ValueError if it cannot be read."""
    row = read_stored_row(before)
    if row.get(GEOMETRY) is not None:
        row[GEOMETRY] = well_known_binary(row[GEOMETRY])
    return row


def read_stored_row(before: str) -> dict[str, object]:
    """Column -> value as the table held it, the geometry as its stored bytes. ValueError if it cannot be read."""
    row = json.loads(before)
    if not isinstance(row, dict):
        raise ValueError("A row of the history is no JSON object.")
    for column, value in row.items():
        if column == GEOMETRY and value is not None:
            row[column] = bytes.fromhex(value)
        elif isinstance(value, dict):
            row[column] = bytes.fromhex(value["hex"]) if "hex" in value else bytes.fromhex(value["text"]).decode()
    return row


def well_known_binary(data: bytes) -> bytes:
    """A geometry of the history, whichever archive wrote it."""
    if data[:2] != b"GP":
        return data
    envelope = _ENVELOPE_BYTES.get(data[3] >> 1 & 0b111)
    if envelope is None:
        raise ValueError("A geometry of the history is damaged: its header tells of no known envelope.")
    return data[_HEADER_BYTES + envelope :]
