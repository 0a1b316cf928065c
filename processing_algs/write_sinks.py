"""Rows of a result into the sink the user chose. Loaded only while an algorithm runs."""

from __future__ import annotations

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsProcessingException,
    QgsProcessingOutputLayerDefinition,
    QgsWkbTypes,
)

from ..plugin.qgis_layer import geopackage
from ..plugin.qgis_layer import write as writing
from ..plugin.qgis_layer.crs import unit_m
from ..plugin.qgis_layer.fields import make_fields
from ..plugin.qgis_layer.rows import Rows

LINE, POINT = QgsWkbTypes.Type.LineString, QgsWkbTypes.Type.Point
MULTIPOLYGON, TABLE = QgsWkbTypes.Type.MultiPolygon, QgsWkbTypes.Type.NoGeometry


def write_sink(
    algorithm, parameters, context, feedback, key, spec, aliases, rows: Rows, wkb=TABLE, percent=None
) -> str | None:
    """One sink; returns its destination, None where the user did not ask for it.

    `percent`: from where to where the run gets on meanwhile.
    """
    fields, source = make_fields(spec), algorithm.source
    crs = QgsCoordinateReferenceSystem() if source is None else source.sourceCrs()
    sink, destination = algorithm.parameterAsSink(parameters, key, context, fields, wkb, crs)
    if sink is None:
        if parameters.get(key) is None:
            return None
        raise QgsProcessingException(algorithm.invalidSinkError(parameters, key))

    def progress(share: float) -> None:
        if percent is not None:
            feedback.setProgress(percent[0] + share * (percent[1] - percent[0]))

    how = (rows, unit_m(crs), progress, feedback.isCanceled)
    layer = context.temporaryLayerStore().mapLayer(destination)
    file = None if layer is not None or _adds_to_layer(parameters[key]) else writing.new_geopackage(destination)
    try:
        if file is not None:
            del sink  # closes the file
            done = geopackage.fill(file, *how)
        elif layer is not None and layer.providerType() == "memory" and rows.count > writing.LARGE:
            del sink  # it knows the layer's memory
            done = writing.move_to_file(layer, key.lower(), *how)
        else:
            done = writing.write_features(sink, fields, *how)
            del sink
    except OSError as error:
        raise QgsProcessingException(f"{key} could not be written: {error}") from None
    if not done:
        raise QgsProcessingException("Canceled.")
    algorithm.style_when_loaded(destination, key, context, aliases)
    return destination


def _adds_to_layer(definition) -> bool:
    """Whether the rows go into a layer that was there before, with fields of its own."""
    return isinstance(definition, QgsProcessingOutputLayerDefinition) and definition.useRemapping()
