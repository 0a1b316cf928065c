"""A row as the history keeps it in `before`: JSON of all columns, geometry and blobs as hex.

Files and databases write the same but for the geometry: a GeoPackage keeps its own blob, a database plain well-known
binary. Reals have 17 digits in either.
"""

from __future__ import annotations

import json

GEOMETRY_COLUMN = "geom"

# bytes of the envelope by the code in bits 1 to 3 of the flags of a GeoPackage geometry
_ENVELOPE_BYTES = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
_HEADER_BYTES = 8


def read_kept_row(before: str) -> dict[str, object]:
    """Column -> value, None where unknown; the geometry as well-known binary. ValueError if it cannot be read."""
    row = json.loads(before)
    if not isinstance(row, dict):
        raise ValueError("A row of the history is no JSON object.")
    if row.get(GEOMETRY_COLUMN) is not None:
        row[GEOMETRY_COLUMN] = well_known_binary(row[GEOMETRY_COLUMN])
    return row


def well_known_binary(kept: str) -> bytes:
    """The geometry in a hex of the history, whichever archive wrote it."""
    data = bytes.fromhex(kept)
    if data[:2] != b"GP":
        return data
    envelope = _ENVELOPE_BYTES.get(data[3] >> 1 & 0b111)
    if envelope is None:
        raise ValueError("A geometry of the history is damaged: its header tells of no known envelope.")
    return data[_HEADER_BYTES + envelope :]
