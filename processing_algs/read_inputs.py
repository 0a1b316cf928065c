"""Read the inputs of a network algorithm. Loaded only while an algorithm runs."""

from __future__ import annotations

from qgis.core import QgsProcessingException

from ..plugin.checks.whole import Given, network_of
from ..plugin.county import County
from ..plugin.limits import LimitError, Limits
from ..plugin.qgis_layer.read import Frame, ReadCanceledError, read_layer, read_rows
from ..plugin.tables import Drains, Shots, Structures


def read_county(algorithm, parameters, context, feedback) -> County:
    """Read drains, structures and shots, build the network, and say what was seen."""
    given = read_given(algorithm, parameters, context, feedback)
    county = County(network_of(given), given.limits, given.units)
    say_unseen(algorithm, feedback)
    return county


def read_given(algorithm, parameters, context, feedback) -> Given:
    """Drains, structures and shots with the settings of the run."""
    frame = frame_of(algorithm, context)
    limits = algorithm.limits = read_limits(algorithm, parameters, context)
    renamed = algorithm.renamed(parameters, context)
    drains = read(algorithm.source, "drains", frame, feedback, renamed, algorithm.plain_source)
    structures = read_optional(algorithm, parameters, "STRUCTURES", "structures", frame, context, feedback)
    shots = read_optional(algorithm, parameters, "SHOTS", "shots", frame, context, feedback)
    if not len(drains):
        raise QgsProcessingException(
            f"The layer '{algorithm.source.sourceName()}' holds no lines: choose a layer with drains, or clear the "
            "selection or filter."
        )
    return Given(
        Drains.from_frame(drains),
        Structures.from_frame(structures) if structures is not None else None,
        Shots.from_frame(shots) if shots is not None else None,
        limits=limits, units=algorithm.units, tolerance_m=algorithm.tolerance_m(parameters, context),
        accept_proposed=algorithm.parameterAsBoolean(parameters, "ACCEPT_PROPOSED", context),
    )


def say_unseen(algorithm, feedback) -> None:
    if algorithm.unseen:
        feedback.pushWarning(f"{algorithm.unseen:,} lines were not seen: only the selected or filtered ones were read.")


def frame_of(algorithm, context) -> Frame:
    return Frame(algorithm.source.sourceCrs(), context.transformContext(), algorithm.units)


def read_limits(algorithm, parameters, context) -> Limits:
    source = algorithm.parameterAsSource(parameters, "LIMITS", context)
    try:
        rows = read_rows(source) if source is not None else algorithm.archive.limits
        return Limits(rows, algorithm.units.foot_m)
    except LimitError as error:
        raise QgsProcessingException(str(error)) from None


def read_optional(algorithm, parameters, key, layer_name, frame, context, feedback):
    """A layer that need not be given; None where it is not."""
    if parameters.get(key) in (None, ""):
        return None
    source = algorithm.parameterAsSource(parameters, key, context)
    if source is None:
        raise QgsProcessingException(algorithm.invalidSourceError(parameters, key))
    if not source.sourceCrs().isValid():
        feedback.pushWarning(
            f"The layer '{source.sourceName()}' has no coordinate reference system and is taken to be in that of the "
            "drains: set its own if it is another."
        )
    return read(source, layer_name, frame, feedback)


def read(source, layer_name, frame, feedback, renamed=None, plain_source=""):
    """A layer as a GeoDataFrame under the archive's names, in SI."""
    try:
        return read_layer(
            source, layer_name, frame, renamed, feedback.isCanceled, plain_source, feedback.pushWarning
        )
    except ReadCanceledError:
        raise QgsProcessingException("Canceled.") from None
