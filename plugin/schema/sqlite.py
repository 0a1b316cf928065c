"""The rules as SQLite triggers. They call nothing that an SQLite without extensions does not have."""

from __future__ import annotations

from collections.abc import Sequence

from .declare import NONE, POINT, Layer
from .history import GEOMETRY, HISTORY
from .rules import ONE_ROW_ONLY, Rule, fill, literal, place_sentence, quoted, rules
from .sqlite_history import IS_REPLACE, guard_triggers, history_triggers, mark_replace

_WKB_TYPE = {"Point": 1, "LineString": 2, "Polygon": 3}
_PLACES_IN_DEGREES = (
    "SELECT 1 FROM gpkg_geometry_columns JOIN gpkg_spatial_ref_sys USING (srs_id) WHERE definition LIKE 'GEOG%'"
)


def triggers(layer: Layer, columns: Sequence[str] = ()) -> tuple[str, ...]:
    """All CREATE TRIGGER statements of a layer, whose table has `columns` (default: as declared): its rules, and what
    keeps its history."""
    if layer.name == HISTORY:
        return (_rule_trigger(layer, "INSERT"), *guard_triggers())
    return (_rule_trigger(layer, "INSERT"), _rule_trigger(layer, "UPDATE"), *history_triggers(layer, columns))


def _rule_trigger(layer: Layer, event: str) -> str:
    """Refuses a bad row of `layer` with the rule's sentence."""
    refused = _row_count_rules(layer) if event == "INSERT" else ()
    refused += _geometry_rules(layer) + rules(layer)
    unless = f" AND NOT {IS_REPLACE}" + (" AND rowid <> OLD.rowid" if event == "UPDATE" else "")
    cases = "\n".join(
        f"    WHEN {fill(rule.broken_sql, unless=unless)} THEN RAISE(ABORT, {literal(rule.sentence)})"
        for rule in refused
    )
    mark = f"  {mark_replace(layer, event)}\n" if layer.key else ""
    name = quoted(f"{layer.name}_rules_{event.lower()}")
    return (
        f"CREATE TRIGGER {name} BEFORE {event} ON {quoted(layer.name)}\nBEGIN\n{mark}  SELECT CASE\n{cases}\n"
        "  END;\nEND"
    )


def _row_count_rules(layer: Layer) -> tuple[Rule, ...]:
    if layer.name != "archive":
        return ()
    return (Rule("", ONE_ROW_ONLY, "EXISTS (SELECT 1 FROM archive)", ""),)


def _geometry_rules(layer: Layer) -> tuple[Rule, ...]:
    """A place of the right kind in one part with something in it, in planar coordinates."""
    if layer.geometry == NONE:
        return ()
    new, table = f"NEW.{quoted(GEOMETRY)}", literal(layer.name)
    degrees = f"EXISTS ({_PLACES_IN_DEGREES} AND table_name = {table})"
    shape = f"{_blob_slice(new, 0, 5)} IN ({_wkb_start(layer.geometry)}) AND {_holds_something(layer, new)}"
    refused = f"NOT coalesce({shape}, 0)"
    if not layer.place_required:
        refused += f" AND {new} IS NOT NULL"
    return (
        Rule("", "This layer is in degrees: lengths need planar coordinates in feet or metres.", degrees, ""),
        Rule("", place_sentence(layer), refused, ""),
    )


def _holds_something(layer: Layer, new: str) -> str:
    """Not flagged empty (bit 4 of the flags), and a point has coordinates, a line or area at least one part."""
    not_flagged = f"hex(substr({new}, 4, 1)) < '10'"
    if layer.geometry == POINT:
        return not_flagged
    return f"{not_flagged} AND {_blob_slice(new, 5, 4)} <> '00000000'"


def _wkb_start(geometry: str) -> str:
    """Hex of byte order and type of a 2-D geometry, in either byte order."""
    number = _WKB_TYPE[geometry]
    return f"'01{number:02X}000000', '00000000{number:02X}'"


def _blob_slice(new: str, offset: int, count: int) -> str:
    """Hex of `count` bytes of the well-known binary inside a GeoPackage geometry, from `offset`.

    The header has 8 bytes and an envelope of 0, 32, 48, 48 or 64 bytes, told by bits 1 to 3 of its flags.
    """
    flags = f"substr(hex(substr({new}, 4, 1)), 2, 1)"
    envelope = (
        f"CASE WHEN {flags} IN ('0', '1') THEN 0 WHEN {flags} IN ('2', '3') THEN 32 "
        f"WHEN {flags} IN ('4', '5', '6', '7') THEN 48 ELSE 64 END"
    )
    return f"hex(substr({new}, {9 + offset} + ({envelope}), {count}))"
