"""What a repair means for the rows around it: names that move to the parts, drains that are left behind."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path

from ..schema.faults import ArchiveError
from ..schema.rules import fill
from .batch import Batch
from .blobs import Box, Place, line_places
from .parts import Part, part_at, span_on
from .stretches import Way

_ALIKE = 0.01  # of the reach

_IN_GROUND = "coalesce(status, 'in_ground') = 'in_ground' AND coalesce(evidence, '') <> 'disproved'"
_NEAR = " AND fid IN (SELECT id FROM rtree_drains_geom WHERE maxx >= ? AND minx <= ? AND maxy >= ? AND miny <= ?)"
_DRAINS = "SELECT drain_id, geom FROM drains WHERE {in_ground}{near}"


def move_names(batch: Batch, drain_id: str, way: Way, parts: Sequence[Part], unit: float) -> None:
    """Shots, repairs and accepted findings of a drain that was cut name the part they lie on from now on."""
    for layer, key in (("shots", "shot_id"), ("repairs", "repair_id")):
        rows = batch.connection.execute(
            fill("SELECT {key}, geom FROM {table} WHERE drain_id = ?", key=key, table=layer), [drain_id]
        ).fetchall()
        for name, place in rows:
            if place is not None:
                part = part_at(parts, way.nearest(line_places(place)[0])[1])
                if part.key != drain_id:
                    batch.update(layer, name, {"drain_id": part.key})
    found = batch.connection.execute(
        "SELECT fid, station_from, station_to FROM accepted WHERE drain_id = ?", [drain_id]
    ).fetchall()
    for number, first, last in found:
        _move_accepted(batch, number, first, last, parts, unit)


def _move_accepted(
    batch: Batch, number: int, first: float | None, last: float | None, parts: Sequence[Part], unit: float
) -> None:
    """To the part most of it lies on, in that part's stations."""
    on = span_on(parts, *(None if at is None else at * unit for at in (first, last)))
    if on is None:
        return
    part, *stations = on
    batch.connection.execute(
        "UPDATE accepted SET drain_id = ?, station_from = ?, station_to = ? WHERE fid = ?",
        (part.key, *(at / unit for at in stations), number),
    )
    batch.note_span("accepted", None)


def drain_under(
    connection: sqlite3.Connection, route: Sequence[Place] | None, points: Sequence[Place] | None, reach: float,
    path: Path,
) -> str:
    """The drain in the ground nearest to the two points, or to both ends of the route; ArchiveError if none lies within
    `reach` of both, or two lie there alike."""
    if route is None and points is None:
        raise ArchiveError("Say which drain was repaired: give its key, or two points on it.")
    ends = points if points is not None else (route[0], route[-1])
    near = sorted(
        (max(way.nearest(place)[0] for place in ends), key)
        for key, way in _drains_near(connection, Way(ends).box(reach))
    )
    near = [(distance, key) for distance, key in near if distance <= reach]
    if not near:
        raise ArchiveError(f"No drain in the ground of {path} lies near both places: give places on one drain.")
    if len(near) > 1 and near[1][0] - near[0][0] < _ALIKE * reach:
        raise ArchiveError(
            f"Both drain {near[0][1]} and drain {near[1][1]} lie there: give the key of the one that was repaired."
        )
    return near[0][1]


def left_behind(
    batch: Batch, way: Way, parts: Sequence[Part], new: Way, new_key: str, tolerance: float
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Keys of drains in the ground that end on the old stretch and on no pipe that takes its place, and of those that
    cross the new pipe without ending on it; distances in the unit of coordinates."""
    own = {new_key, *(part.key for part in parts)}
    old = next(Way(way.stretch(part.start, part.end)) for part in parts if part.is_old)
    others = [Way(way.stretch(part.start, part.end)) for part in parts if not part.is_old]
    behind, crossed = [], []
    for key, other in _drains_near(batch.connection, _around(old.box(tolerance), new.box(tolerance))):
        if key in own:
            continue
        ends = (other.places[0], other.places[-1])
        on_new = [any(pipe.nearest(end)[0] <= tolerance for pipe in (new, *others)) for end in ends]
        on_old = [old.nearest(end)[0] <= tolerance for end in ends]
        if any(on and not also for on, also in zip(on_old, on_new)):
            behind.append(key)
        if new.crosses(other) and not any(new.nearest(end)[0] <= tolerance for end in ends):
            crossed.append(key)
    return tuple(sorted(behind)), tuple(sorted(crossed))


def _drains_near(connection: sqlite3.Connection, box: Box) -> Iterator[tuple[str, Way]]:
    indexed = connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'rtree_drains_geom'").fetchone()
    statement = fill(_DRAINS, in_ground=_IN_GROUND, near=_NEAR if indexed else "")
    sides = (box.min_x, box.max_x, box.min_y, box.max_y) if indexed else ()
    for key, blob in connection.execute(statement, sides):
        drawn = Way(line_places(blob))
        if drawn.length > 0:
            yield key, drawn


def _around(a: Box, b: Box) -> Box:
    return Box(min(a.min_x, b.min_x), min(a.min_y, b.min_y), max(a.max_x, b.max_x), max(a.max_y, b.max_y))
