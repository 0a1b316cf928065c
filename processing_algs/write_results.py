"""Write the results that several algorithms have in common. Loaded only while an algorithm runs."""

from __future__ import annotations

from collections.abc import Sequence
from configparser import ConfigParser
from datetime import date
from pathlib import Path

import numpy as np
import shapely

from ..plugin import result_tables as tables
from ..plugin.checks.accepted import Standing
from ..plugin.checks.case import Case
from ..plugin.checks.catalogue import NotYet
from ..plugin.checks.run import Findings, Results
from ..plugin.county import County
from ..plugin.qgis_layer.rows import Rows
from ..plugin.report.assemble import report_content
from ..plugin.report.content import Facts
from ..plugin.report.figures import finding_figures
from ..plugin.report.page import render_report
from .write_sinks import LINE, POINT, write_sink


def write_nodes(algorithm, parameters, context, feedback, county: County, percent=None) -> str | None:
    """NODES: outlets, joints and ends."""
    columns, xy_m = tables.nodes_table(county)

    def part(rows: slice):
        return {name: column[rows] for name, column in columns.items()}, shapely.points(xy_m[rows])

    return write_sink(algorithm, parameters, context, feedback, "NODES", tables.NODES, tables.NODE_ALIASES,
                      Rows(len(xy_m), part), POINT, percent)


def write_pipes(
    algorithm, parameters, context, feedback, county: County, pieces, from_m=None, to_m=None, at_point=None,
    percent=None,
) -> str | None:
    """PIPES: pieces, or the stretches `from_m` to `to_m` of them."""
    def part(rows: slice):
        stretches = (None if given is None else given[rows] for given in (from_m, to_m, at_point))
        return tables.pipes_table(county, pieces[rows], *stretches)

    return write_sink(algorithm, parameters, context, feedback, "PIPES", tables.PIPES,
                      tables.pipe_aliases(county.units), Rows(len(pieces), part), LINE, percent)


def write_findings(
    algorithm, parameters, context, feedback, county: County, findings: Findings, percent=None, accepted=None
) -> dict:
    """LINE_FINDINGS and POINT_FINDINGS; `accepted`: by finding, what is said of one that is accepted."""
    results = {}
    for key, place, wkb in (("LINE_FINDINGS", False, LINE), ("POINT_FINDINGS", True, POINT)):
        rows = finding_rows(county, findings, np.flatnonzero(findings.place == place), accepted)
        results[key] = write_sink(algorithm, parameters, context, feedback, key, tables.FINDINGS,
                                  tables.finding_aliases(county.units), rows, wkb, percent)
    return results


def finding_rows(
    county: County, findings: Findings, chosen: np.ndarray, accepted: np.ndarray | None = None
) -> Rows:
    """The findings in the rows `chosen`."""
    def part(rows: slice):
        some = findings.where(chosen[rows])
        words = None if accepted is None else accepted[chosen[rows]]
        return tables.findings_table(county, some, words), tables.finding_shapes(county, some)

    return Rows(len(chosen), part)


def write_not_checked(
    algorithm, parameters, context, feedback, case: Case, results: Results, never: Sequence[NotYet] = ()
) -> tuple[str | None, int]:
    """NOT_CHECKED: one row a check and drain, one with no drain where it holds for all; and how many rows.

    `never`: checks this version does not make.
    """
    columns = tables.not_checked_table(case.county, results, never)
    destination = write_sink(algorithm, parameters, context, feedback, "NOT_CHECKED", tables.NOT_CHECKED,
                             tables.NOT_CHECKED_ALIASES, Rows.of(columns))
    return destination, len(columns["check"])


def write_report(
    algorithm, parameters, context, case: Case, results: Results, standing: Standing
) -> str | None:
    """REPORT as one HTML file; None where the user did not ask for it."""
    path = algorithm.parameterAsFileOutput(parameters, "REPORT", context)
    if not path:
        return None
    figures = finding_figures(results.findings.where(~standing.accepted), case)
    content = report_content(results, case, facts_of(algorithm, case), figures, standing)
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
