"""Geometries as a GeoPackage stores them, without any library.

Source: OGC 12-128r15, GeoPackage 1.2, section 2.1.3 (header), and ISO well-known binary.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ..schema.kept_rows import well_known_binary

Place = tuple  # (x, y)

_LITTLE_ENDIAN, _ENVELOPE, _EMPTY = 1, 2, 16  # flags: low byte first, with envelope xy, without a vertex
_ENVELOPES, _HEAD_BYTES = 0b1110, 8
_POINT, _LINE, _POLYGON = 1, 2, 3
_COLLECTIONS = (4, 5, 6, 7)


class Box(NamedTuple):
    """What a geometry spans."""

    min_x: float
    min_y: float
    max_x: float
    max_y: float


def stored(wkb: bytes, srs_id: int) -> bytes:
    """Well-known binary as the file keeps it: with its head and, unless it is a point, its envelope."""
    box = box_of_wkb(wkb)
    flags, envelope = _LITTLE_ENDIAN, b""
    if box is None:
        flags |= _EMPTY
    elif _kind(wkb) != _POINT:
        flags |= _ENVELOPE
        envelope = struct.pack("<4d", box.min_x, box.max_x, box.min_y, box.max_y)
    return b"GP\x00" + bytes([flags]) + struct.pack("<i", srs_id) + envelope + wkb


def box_of(blob: bytes) -> Box | None:
    """What a stored geometry spans, as its envelope says where it has one; None if it is empty."""
    flags = blob[3]
    if flags & _EMPTY:
        return None
    if flags & _ENVELOPES:
        min_x, max_x, min_y, max_y = struct.unpack_from("<4d" if flags & _LITTLE_ENDIAN else ">4d", blob, _HEAD_BYTES)
        return Box(min_x, min_y, max_x, max_y)
    return box_of_wkb(well_known_binary(blob))


def box_of_wkb(wkb: bytes) -> Box | None:
    """What a geometry spans; None if it is empty. struct.error or ValueError where it is damaged."""
    places = list(_vertices(wkb))
    if not places:
        return None
    xs, ys = zip(*places)
    return Box(min(xs), min(ys), max(xs), max(ys))


def line_places(blob: bytes) -> list[Place]:
    """The vertices of a stored line."""
    return list(_vertices(well_known_binary(blob)))


def line_wkb(places: Sequence[Place]) -> bytes:
    """A line through places as well-known binary."""
    flat = [float(value) for place in places for value in place]
    return struct.pack(f"<BII{len(flat)}d", 1, _LINE, len(places), *flat)


def point_wkb(place: Place) -> bytes:
    """A point as well-known binary."""
    return struct.pack("<BI2d", 1, _POINT, *place)


def _kind(wkb: bytes) -> int:
    return struct.unpack_from("<I" if wkb[0] else ">I", wkb, 1)[0] % 1000


def _vertices(wkb: bytes) -> Iterator[Place]:
    """All vertices, without heights."""
    yield from _Reader(wkb).geometry()


class _Reader:
    def __init__(self, wkb: bytes):
        self.wkb, self.at = wkb, 0

    def geometry(self) -> Iterator[Place]:
        order = "<" if self.wkb[self.at] else ">"
        self.at += 1
        code = self._count(order)
        kind, dimensions = code % 1000, 2 + (code // 1000 > 0) + (code // 1000 == 3)
        if kind == _POINT:
            yield from self._places(order, 1, dimensions)
        elif kind == _LINE:
            yield from self._places(order, self._count(order), dimensions)
        elif kind == _POLYGON:
            for _ in range(self._count(order)):
                yield from self._places(order, self._count(order), dimensions)
        elif kind in _COLLECTIONS:
            for _ in range(self._count(order)):
                yield from self.geometry()
        else:
            raise ValueError(f"A geometry of the kind {code} has no place in an archive.")

    def _count(self, order: str) -> int:
        (number,) = struct.unpack_from(f"{order}I", self.wkb, self.at)
        self.at += 4
        return number

    def _places(self, order: str, count: int, dimensions: int) -> Iterator[Place]:
        values = struct.unpack_from(f"{order}{count * dimensions}d", self.wkb, self.at)
        self.at += 8 * count * dimensions
        for first in range(0, len(values), dimensions):
            if values[first] == values[first]:  # an empty point is written as not-a-number
                yield values[first], values[first + 1]
