"""Read what is planned for a reroute. Loaded only while an algorithm runs."""

from __future__ import annotations

import math

from qgis.core import QgsProcessingException

from ..plugin.qgis_layer.crs import complaint_about, counts_in_degrees
from ..plugin.qgis_layer.read import read_layer
from ..plugin.reroute.plan import FixedPoints, Plan, RouteError, one_route
from ..plugin.tables import Drains, Structures, figures
from .read_inputs import frame_of


def number(algorithm, parameters, context, key: str, size_si: float) -> float:
    """A number that need not be given, in SI; NaN where it was not."""
    if parameters.get(key) is None:
        return math.nan
    return algorithm.parameterAsDouble(parameters, key, context) * size_si


def word(algorithm, parameters, context, key: str) -> str | None:
    """A choice that need not be made."""
    return algorithm.parameterAsEnumString(parameters, key, context) or None if parameters.get(key) else None


def given_limits(algorithm, parameters, context, limits):
    """The limits with those given for this run."""
    rows = [
        {"name": key.lower(), "value": algorithm.parameterAsDouble(parameters, key, context),
         "unit": algorithm.units.length_name}
        for key in ("LEAST_COVER", "GREATEST_DEPTH") if parameters.get(key) is not None
    ]
    return limits.given(rows)


def read_plan(algorithm, parameters, context, feedback) -> Plan:
    """The route with the pipe and the levels that were given."""
    units = algorithm.units
    diameter_m = number(algorithm, parameters, context, "DIAMETER", units.diameter_m)
    try:
        route = one_route(
            _drawn(algorithm, context, feedback),
            algorithm.route_source.sourceName(),
            diameter_m=None if math.isnan(diameter_m) else diameter_m,
            material=word(algorithm, parameters, context, "MATERIAL"),
            openings=word(algorithm, parameters, context, "OPENINGS"),
        )
    except RouteError as error:
        raise QgsProcessingException(str(error)) from None
    levels = {f"{key.lower()}_m": number(algorithm, parameters, context, key, units.length_m)
              for key in ("INVERT_UP", "INVERT_DOWN", "INVERT_ERROR")}
    grades = {name: number(algorithm, parameters, context, key, units.size_si("grade"))
              for name, key in (("grade", "LAY_AT_GRADE"), ("least_grade", "LEAST_GRADE"))}
    fixed = _fixed(algorithm, parameters, context)
    try:
        return Plan(route, **levels, **grades, fixed=fixed)
    except RouteError as error:
        raise QgsProcessingException(str(error)) from None


def _drawn(algorithm, context, feedback) -> Drains:
    """The route's row: the selected line of several, else the first."""
    source = algorithm.route_source
    crs = source.sourceCrs()
    complaint = "" if counts_in_degrees(crs) else complaint_about(crs, source.sourceName())
    if complaint:
        raise QgsProcessingException(complaint)
    frame = read_layer(source, "drains", frame_of(algorithm, context), is_canceled=feedback.isCanceled)
    selected = frame[frame.index.isin(algorithm.route_selected)]
    frame = selected if len(selected) else frame
    if not len(frame):
        raise QgsProcessingException(f"The layer '{source.sourceName()}' holds no line: draw the route in it.")
    if len(frame) > 1:
        feedback.pushWarning(f"The layer '{source.sourceName()}' holds {len(frame):,} routes; the first one is judged. "
                             "Select the one that is meant.")
    return Drains.from_frame(frame.iloc[:1])


def _fixed(algorithm, parameters, context) -> FixedPoints:
    if parameters.get("FIXED") in (None, ""):
        return FixedPoints.none()
    source = algorithm.parameterAsSource(parameters, "FIXED", context)
    if source is None:
        raise QgsProcessingException(algorithm.invalidSourceError(parameters, "FIXED"))
    if max(source.fields().lookupField(name) for name in ("least", "greatest")) < 0:
        raise QgsProcessingException(
            f"The layer '{source.sourceName()}' has no field least or greatest with the invert to keep: add one."
        )
    # least and greatest are elevations like the two of a structure
    renamed = {"invert": "least", "rim": "greatest"}
    frame = read_layer(source, "structures", frame_of(algorithm, context), renamed)
    points = Structures.from_frame(frame)
    kept = frame[~(frame.geometry.isna() | frame.geometry.is_empty)]
    return FixedPoints(points.xy_m, points.name, figures(kept, "invert"), figures(kept, "rim"))
