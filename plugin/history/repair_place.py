"""Where a repair lies: its two stations on the drain and the line of the new pipe, in the order of the drain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..schema.faults import ArchiveError
from .blobs import Place
from .stretches import Way

if TYPE_CHECKING:
    from .repair import Repair


@dataclass(frozen=True)
class RepairPlace:
    """Stations in the unit of coordinates, `start` < `end`; the vertices of the new pipe from the one to the other, its
    ends exactly where the drain is cut; inverts measured there, by station."""

    start: float
    end: float
    new_pipe: list[Place]
    measured: dict[float, float]


def place_of_repair(repair: Repair, way: Way, tolerance: float, reach: float, unit: float) -> RepairPlace:
    """Settle where the drain is cut; ArchiveError if stations, points or the line of the new pipe do not fit it."""
    ends = _ends(repair, way, tolerance, reach, unit)
    start, end = sorted(ends)
    if start < -tolerance * unit or end > way.length + tolerance * unit or end - start <= tolerance * unit:
        raise ArchiveError(
            f"From {start / unit:.1f} to {end / unit:.1f} is no stretch of drain {repair.drain_id}, which is "
            f"{way.length / unit:.1f} long: give two stations between 0 and that, more than {tolerance:g} apart."
        )
    start = 0.0 if start < tolerance * unit else start
    end = way.length if end > way.length - tolerance * unit else end
    in_order = [start, end] if ends[0] < ends[1] else [end, start]
    inverts = zip(in_order, (repair.invert_from, repair.invert_to))
    return RepairPlace(start, end, _new_pipe(repair, way, start, end), {at: v for at, v in inverts if v is not None})


def _ends(repair: Repair, way: Way, tolerance: float, reach: float, unit: float) -> tuple[float, float]:
    """The stations of the first and the last end, in the one way they are told."""
    by_station = repair.station_from is not None and repair.station_to is not None
    if [by_station, repair.points is not None, repair.route is not None].count(True) != 1:
        raise ArchiveError(
            "Give one of these: the two stations on the drain between which pipe was replaced, two points on it, or "
            "the line of the new pipe."
        )
    if by_station:
        return repair.station_from * unit, repair.station_to * unit
    told, most, what = (repair.points, reach, "One of the two points") if repair.route is None else (
        (repair.route[0], repair.route[-1]), tolerance, "An end of the new pipe")
    meets = [way.nearest(place) for place in told]
    off = max(distance for distance, _ in meets)
    if off > most * unit:
        raise ArchiveError(
            f"{what} lies {off / unit:.1f} from drain {repair.drain_id}, where {most:g} is the most: choose a place on "
            "the drain a stretch of which was replaced, or another drain."
        )
    return meets[0][1], meets[1][1]


def _new_pipe(repair: Repair, way: Way, start: float, end: float) -> list[Place]:
    if repair.route is None:
        return way.stretch(start, end)
    inner = list(repair.route)[1:-1]
    if way.nearest(repair.route[0])[1] > way.nearest(repair.route[-1])[1]:
        inner.reverse()
    return [way.place(start), *inner, way.place(end)]
