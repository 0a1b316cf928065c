"""Write results of network algorithms into sinks. Loaded only while an algorithm runs."""

from __future__ import annotations

from qgis.core import QgsProcessingException, QgsWkbTypes

from ..plugin import result_tables as tables
from ..plugin.county import County
from ..plugin.qgis_layer.crs import unit_m
from ..plugin.qgis_layer.fields import make_fields
from ..plugin.qgis_layer.write import write_features

LINE, POINT = QgsWkbTypes.Type.LineString, QgsWkbTypes.Type.Point
MULTIPOLYGON, TABLE = QgsWkbTypes.Type.MultiPolygon, QgsWkbTypes.Type.NoGeometry


def write_sink(
    algorithm, parameters, context, feedback, key, spec, aliases, columns, shapes=None, wkb=TABLE
) -> str | None:
    """One sink; returns its destination, None where the user did not ask for it."""
    fields = make_fields(spec, aliases)
    crs = algorithm.source.sourceCrs()
    sink, destination = algorithm.parameterAsSink(parameters, key, context, fields, wkb, crs)
    if sink is None:
        if parameters.get(key) is None:
            return None
        raise QgsProcessingException(algorithm.invalidSinkError(parameters, key))
    write_features(sink, fields, columns, shapes, unit_m(crs), feedback.isCanceled)
    del sink
    algorithm.style_when_loaded(destination, key, context)
    return destination


def write_pipes(algorithm, parameters, context, feedback, county: County, columns, shapes) -> str | None:
    return write_sink(algorithm, parameters, context, feedback, "PIPES", tables.PIPES,
                      tables.pipe_aliases(county.units), columns, shapes, LINE)


def write_findings(algorithm, parameters, context, feedback, county: County, findings) -> dict:
    """LINE_FINDINGS and POINT_FINDINGS."""
    results = {}
    for key, place, wkb in (("LINE_FINDINGS", False, LINE), ("POINT_FINDINGS", True, POINT)):
        part = findings.where(findings.place == place)
        results[key] = write_sink(
            algorithm, parameters, context, feedback, key, tables.FINDINGS, tables.finding_aliases(county.units),
            tables.findings_table(county, part), tables.finding_shapes(county, part), wkb,
        )
    return results
