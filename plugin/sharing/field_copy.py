"""What a copy for the field keeps beside its layers: what every row was when it was taken along.

Two tables that no map program shows, because a GeoPackage that lists tables without geometry hides those it does not
list: ABOUT_TABLE with one row on where the copy comes from, BASE_TABLE with each row as JSON.
"""

from __future__ import annotations

import datetime
import json
import uuid
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from ..schema import LAYERS, Layer
from ..schema.history import GEOMETRY

ABOUT_TABLE, BASE_TABLE = "fallkeeper_field_copy", "fallkeeper_field_base"
ABOUT_SQL = f"CREATE TABLE {ABOUT_TABLE} (about TEXT NOT NULL)"
BASE_SQL = f"CREATE TABLE {BASE_TABLE} (layer TEXT NOT NULL, key TEXT NOT NULL, row TEXT NOT NULL)"

# written anew by every save, so it tells of no change
NOT_COMPARED = ("edited_by",)


def layers_for_the_field() -> tuple[Layer, ...]:
    """Layers whose rows every copy can tell apart: those with a required key."""
    return tuple(layer for layer in LAYERS if layer.key is not None and layer.key.required)


@dataclass(frozen=True)
class AboutCopy:
    """Where a copy comes from. `seq`: the last number of the archive's history that is in it."""

    copy_id: str
    archive: str
    archive_created_on: str
    units: str
    crs: str
    schema_version: int
    seq: int
    made_on: str
    layers: tuple[str, ...]

    def packed(self) -> str:
        return json.dumps(asdict(self))

    @classmethod
    def unpacked(cls, words: str) -> AboutCopy:
        """ValueError if it is none."""
        try:
            said = json.loads(words)
            return cls(**{**said, "layers": tuple(said["layers"])})
        except (TypeError, KeyError, ValueError) as fault:
            raise ValueError("The copy does not say where it comes from.") from fault


def pack(row: Mapping[str, object]) -> str:
    """A row of plain values (three_way.plain) as JSON, with all digits."""
    return json.dumps({name: _packed(value) for name, value in row.items()}, ensure_ascii=False)


def unpack(words: str, kinds: Mapping[str, str]) -> dict[str, object]:
    """A row as it was packed; `kinds` says which field holds what."""
    row = json.loads(words)
    for name, value in row.items():
        if value is None:
            continue
        if name == GEOMETRY:
            row[name] = bytes.fromhex(value)
        elif kinds.get(name) == "datetime":
            row[name] = _moment(value)
    return row


def key_of_new_row(about: AboutCopy, layer: str, number: int) -> str:
    """A key for a row that the field left without one: the same each time the copy is brought back."""
    return str(uuid.uuid5(uuid.UUID(about.copy_id), f"{layer}/{number}"))


def _packed(value: object) -> object:
    if isinstance(value, bytes):
        return value.hex()
    return value.isoformat() if isinstance(value, datetime.datetime) else value


def _moment(value: str) -> object:
    try:
        return datetime.datetime.fromisoformat(value)
    except ValueError:
        return value
