"""What is planned: the drawn route, the pipe to be laid in it, and what is known of its ends."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace

import numpy as np
import shapely

from ..tables import Drains

NAN = float("nan")


class RouteError(ValueError):
    """The route cannot be judged as it is drawn; the message says why and what to do."""


@dataclass(frozen=True)
class FixedPoints:
    """Points where the new invert may not be below `least_m` or above `greatest_m`; NaN: no limit on that side."""

    xy_m: np.ndarray
    name: np.ndarray
    least_m: np.ndarray
    greatest_m: np.ndarray

    def __len__(self) -> int:
        return len(self.name)

    @classmethod
    def none(cls) -> FixedPoints:
        empty = np.zeros(0)
        return cls(np.zeros((0, 2)), np.zeros(0, dtype=object), empty, empty)


@dataclass(frozen=True)
class Plan:
    """A drawn route with the pipe to be laid, in SI; NaN where nobody said.

    `route` is one row with a LineString as it was drawn, in either direction. `invert_error_m` is the standard
    error of both end inverts, whatever they rest on. `least_grade` is a ratio, and so is `grade`, at which the pipe
    is laid from the end whose invert is known; the other end comes out where it does.
    """

    route: Drains
    invert_up_m: float = NAN
    invert_down_m: float = NAN
    invert_error_m: float = NAN
    least_grade: float = NAN
    fixed: FixedPoints = field(default_factory=FixedPoints.none)
    grade: float = NAN

    def __post_init__(self) -> None:
        if np.isfinite(self.invert_up_m) and np.isfinite(self.invert_down_m) and np.isfinite(self.grade):
            raise RouteError("Both inverts and the grade of the new pipe are given: leave one of the three empty, "
                             "since two of them decide the third.")

    @property
    def name(self) -> str:
        return str(self.route.name[0])

    @property
    def line(self) -> shapely.LineString:
        return self.route.geometry[0]

    @property
    def diameter_m(self) -> float:
        return float(self.route.diameter_m[0])


def one_route(drawn: Drains, called: str = "", **given: object) -> Drains:
    """The first row as a route with one plain line; fields in `given` that are not None replace those of the row.

    Raises RouteError where it cannot be judged. `called` stands for a missing name.
    """
    row = Drains(*(getattr(drawn, column.name)[:1] for column in fields(Drains)))
    changes = {name: np.array([value], dtype=getattr(row, name).dtype) for name, value in given.items()
               if value is not None}
    if called and row.id_missing[0]:
        changes["drain_id"] = np.array([called], dtype=object)
        if row.name[0] == row.drain_id[0]:
            changes["name"] = changes["drain_id"]
    geometry = np.empty(1, dtype=object)
    geometry[0] = _plain_line(row.geometry[0])
    return replace(row, geometry=geometry, **changes)


def _plain_line(drawn: object) -> shapely.LineString:
    if drawn is None or shapely.is_empty(drawn):
        raise RouteError("The route has no geometry: draw one line from one end of the new pipe to the other.")
    line = shapely.force_2d(drawn)
    if line.geom_type == "MultiLineString":
        line = shapely.line_merge(line) if len(line.geoms) > 1 else line.geoms[0]
    if line.geom_type != "LineString":
        raise RouteError("The route is drawn in several parts that do not meet end to end: draw it as one line.")
    xy = shapely.get_coordinates(line)
    if not np.isfinite(xy).all():
        raise RouteError("A coordinate of the route is no number: draw it again.")
    if not line.length > 0.0:
        raise RouteError("The route has no length: draw it from one end of the new pipe to the other.")
    if not line.is_simple or line.is_ring:
        raise RouteError("The route meets itself: draw it from one end to the other without a loop.")
    kept = np.concatenate([[True], (xy[1:] != xy[:-1]).any(axis=1)])
    return shapely.LineString(xy[kept])
