"""Cuts a drawn line at stations: what is known at the new ends is interpolated, and said to be assumed."""

from __future__ import annotations

import datetime
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ..elevation.sources import ERROR_BY_LOCATED
from ..history.parts import Part, assumed_words, ends_of
from ..limits import Limits
from .drawn import Drawn, Row


class CutError(ValueError):
    """A line that is not cut there; the sentence says why."""


@dataclass(frozen=True)
class Scale:
    """`unit`: size of the archive's unit of length in that of the coordinates; in metres `length_m` (lengths) and
    `diameter_m` (diameters)."""

    unit: float
    length_m: float
    diameter_m: float


@dataclass(frozen=True, order=True)
class Known:
    """An invert measured on the line between its ends: station in the unit of coordinates, figures in the archive's."""

    station: float
    invert: float
    error: float


def invert_error(row: Row, scale: Scale, limits: Limits) -> float:
    """Standard error of a drain's inverts: what it states itself, else by how it was located."""
    stated = row.get("invert_error")
    if stated is not None:
        return stated
    return limits[ERROR_BY_LOCATED.get(row.get("located_by"), "error_probe")] / scale.length_m


def known_by_shots(drawn: Drawn, shots: Iterable[tuple[Row, tuple]], scale: Scale, limits: Limits) -> list[Known]:
    """What shots (row, place) of inverts and of tops of pipe tell of the line; not of a top where no size is known."""
    way, found = drawn.way, []
    for row, place in shots:
        invert, diameter = row.get("elevation"), drawn.row.get("diameter")
        if row.get("of") == "pipe_top" and invert is not None:
            above = None if diameter is None else diameter * scale.diameter_m * (1.0 + limits["wall_share"])
            invert = None if above is None else invert - above / scale.length_m
        elif row.get("of") != "invert":
            continue
        error = row.get("error")
        if invert is not None:
            error = limits["error_level"] / scale.length_m if error is None else error
            found.append(Known(way.nearest(place)[1], invert, error))
    return found


def known_by_vertices(drawn: Drawn, scale: Scale, limits: Limits) -> list[Known]:
    """Elevations drawn with the line, where an instrument located it."""
    if drawn.row.get("located_by") not in ERROR_BY_LOCATED:
        return []
    way, error = drawn.way, invert_error(drawn.row, scale, limits)
    levels = ((station, place[2]) for station, place in zip(way.stations, way.places) if len(place) > 2)
    return [Known(station, z / scale.unit, error) for station, z in levels if z == z and z != 0.0]


def check_stations(drawn: Drawn, stations: Sequence[float], exact: float) -> None:
    """CutError where a part would have no length; `exact`: what is no length, in the unit of coordinates."""
    cuts = [0.0, *stations, drawn.way.length]
    if any(not after - before > exact for before, after in zip(cuts, cuts[1:])):
        raise CutError("That place lies at an end of the pipe: choose one between its ends. Nothing was cut.")


def cut(
    drawn: Drawn, stations: Sequence[float], keys: Sequence[str], day: datetime.date, known: Iterable[Known],
    scale: Scale, limits: Limits,
) -> list[Drawn]:
    """The parts of a line, in the order it is drawn, with their `keys` and everything else of its row.

    The invert at a cut lies straight between the nearest two that are `known` or stand at the ends, the depth between
    the ends; where one of the two is unknown nothing is interpolated. The error of the inverts grows to that of the
    values they were had from, and never shrinks.
    """
    way, own = drawn.way, invert_error(drawn.row, scale, limits)
    figures = _figures(drawn, way.length, own, known)
    at_cut = {station: found for station in stations if (found := _between(figures, station)) is not None}
    edges = [0.0, *stations, way.length]
    parts = [Part(key, *ends, is_old=False) for key, ends in zip(keys, zip(edges, edges[1:]))]
    row = {**dict.fromkeys(("invert_start", "invert_end", "depth_start", "depth_end")), **drawn.row}
    made = []
    for part in parts:
        ends = ends_of(row, way.length, part, {station: found.invert for station, found in at_cut.items()})
        assumed = _assumed(part, way.length, at_cut, ends.assumed)
        error = max((at_cut[at].error for at in (part.start, part.end) if at in at_cut), default=own)
        values = {**ends.values, "drain_id": part.key, "note": _note(drawn.row, part.key, day, assumed)}
        values["invert_error"] = error if error > own else row.get("invert_error")
        made.append(Drawn(tuple(way.stretch(part.start, part.end)),
                          {**drawn.row, **{name: value for name, value in values.items() if name in drawn.row}}))
    return made


def _figures(drawn: Drawn, length: float, own: float, known: Iterable[Known]) -> list[Known]:
    ends = ((0.0, drawn.row.get("invert_start")), (length, drawn.row.get("invert_end")))
    at_ends = [Known(station, invert, own) for station, invert in ends if invert is not None]
    taken = {one.station for one in at_ends}
    return sorted([*at_ends, *(one for one in known if one.station not in taken)])


def _between(figures: Sequence[Known], station: float) -> Known | None:
    """On the straight line between the nearest figures on either side; the error runs straight as well."""
    k = bisect_left([one.station for one in figures], station)
    if k < len(figures) and figures[k].station == station:
        return figures[k]
    if not 0 < k < len(figures):
        return None
    low, high = figures[k - 1], figures[k]
    share = (station - low.station) / (high.station - low.station)
    return Known(station, low.invert + share * (high.invert - low.invert), low.error + share * (high.error - low.error))


def _assumed(part: Part, length: float, at_cut: dict[float, Known], depths: Sequence[str]) -> list[str]:
    inverts = [f"invert_{end}" for end, at in (("start", part.start), ("end", part.end)) if at in at_cut]
    return [*inverts, *depths]


def _note(row: Row, key: str, day: datetime.date, assumed: Sequence[str]) -> str:
    words = f"Cut on {day}" if key == row.get("drain_id") else f"Cut from {row.get('drain_id')} on {day}"
    words += assumed_words(assumed, "interpolated at the cut")
    return "\n".join(filter(None, (row.get("note"), f"{words}.")))
