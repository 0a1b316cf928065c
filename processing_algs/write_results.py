"""Write results of network algorithms into sinks. Loaded only while an algorithm runs."""

from __future__ import annotations

from collections.abc import Sequence
from configparser import ConfigParser
from datetime import date
from pathlib import Path

from qgis.core import QgsProcessingException, QgsWkbTypes

from ..plugin import result_tables as tables
from ..plugin.checks.case import Case
from ..plugin.checks.catalogue import NotYet
from ..plugin.checks.run import Results
from ..plugin.county import County
from ..plugin.qgis_layer.crs import unit_m
from ..plugin.qgis_layer.fields import make_fields
from ..plugin.qgis_layer.write import write_features
from ..plugin.report.assemble import report_content
from ..plugin.report.content import Facts
from ..plugin.report.figures import finding_figures
from ..plugin.report.page import render_report

LINE, POINT = QgsWkbTypes.Type.LineString, QgsWkbTypes.Type.Point
MULTIPOLYGON, TABLE = QgsWkbTypes.Type.MultiPolygon, QgsWkbTypes.Type.NoGeometry


def write_sink(
    algorithm, parameters, context, feedback, key, spec, aliases, columns, shapes=None, wkb=TABLE
) -> str | None:
    """One sink; returns its destination, None where the user did not ask for it."""
    fields = make_fields(spec)
    crs = algorithm.source.sourceCrs()
    sink, destination = algorithm.parameterAsSink(parameters, key, context, fields, wkb, crs)
    if sink is None:
        if parameters.get(key) is None:
            return None
        raise QgsProcessingException(algorithm.invalidSinkError(parameters, key))
    try:
        write_features(sink, fields, columns, shapes, unit_m(crs), feedback.isCanceled)
    except OSError as error:
        raise QgsProcessingException(f"{key} could not be written: {error}") from None
    del sink
    algorithm.style_when_loaded(destination, key, context, aliases)
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


def write_not_checked(
    algorithm, parameters, context, feedback, case: Case, results: Results, never: Sequence[NotYet] = ()
) -> tuple[str | None, int]:
    """NOT_CHECKED: one row a check and drain, one with no drain where it holds for all; and how many rows.

    `never`: checks this version does not make.
    """
    columns = tables.not_checked_table(case.county, results, never)
    destination = write_sink(algorithm, parameters, context, feedback, "NOT_CHECKED", tables.NOT_CHECKED,
                             tables.NOT_CHECKED_ALIASES, columns)
    return destination, len(columns["check"])


def write_report(algorithm, parameters, context, case: Case, results: Results) -> str | None:
    """REPORT as one HTML file; None where the user did not ask for it."""
    path = algorithm.parameterAsFileOutput(parameters, "REPORT", context)
    if not path:
        return None
    figures = finding_figures(results.findings, case)
    content = report_content(results, case, facts_of(algorithm, case), figures)
    Path(path).write_text(render_report(content), encoding="utf-8")
    return path


def facts_of(algorithm, case: Case, about: str = "") -> Facts:
    """Where the figures of a report come from."""
    crs, archive = algorithm.source.sourceCrs(), algorithm.archive
    unseen = f"{algorithm.unseen:,} lines were not seen: only the selected or filtered ones were read."
    return Facts(
        title=": ".join(filter(None, (about, archive.name or algorithm.source.sourceName()))),
        units=case.units,
        made_on=date.today().isoformat(),
        version=version(),
        crs=f"{crs.authid()} {crs.description()}",
        drains_read=len(case.drains),
        vertical_datum=archive.vertical_datum,
        ground=algorithm.ground_layer.name() if algorithm.ground_layer is not None else "none",
        filters=(unseen,) if algorithm.unseen else (),
    )


def version() -> str:
    """The version in metadata.txt."""
    metadata = ConfigParser(interpolation=None)
    metadata.read(Path(__file__).resolve().parents[1] / "metadata.txt", encoding="utf-8")
    return metadata.get("general", "version")
