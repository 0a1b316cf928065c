"""What an import leaves: the file in archive form, the table of doubts, the report, the profile. Loaded while it "
"runs."""

from __future__ import annotations

import datetime
from pathlib import Path

from qgis.core import QgsProcessingException

from ..plugin.importing.output import DOUBTS, DOUBTS_ALIASES, doubts_table, rows_out
from ..plugin.importing.profile import dump_profile
from ..plugin.qgis_layer.layout_file import write_layout
from ..plugin.qgis_layer.rows import Rows
from ..plugin.report.content import Facts
from ..plugin.report.import_content import extent_words, import_content
from ..plugin.report.import_map import import_map, view_box
from ..plugin.report.import_page import render_import
from ..plugin.report.markup import plural
from .write_results import version
from .write_sinks import write_sink


def write_results(algorithm, parameters, context, feedback, plan, placed, answers) -> dict:
    """Everything in turn. With open questions nothing is written but the report, and that is said as a refusal."""
    write = algorithm.parameterAsBoolean(parameters, "WRITE", context)
    take_doubtful = algorithm.parameterAsBoolean(parameters, "TAKE_DOUBTFUL", context)
    for sentence in plan.said:
        feedback.pushWarning(sentence)
    if not any(len(layer) for layer in plan.source.layers):
        feedback.pushWarning("The file holds no row: ask the sender whether it is the right one, and whole.")
    outputs = {"OUTPUT": None, "DRAINS": None}
    written = 0
    path = Path(algorithm.parameterAsFileOutput(parameters, "OUTPUT", context)) if write else None
    if path is not None and not plan.questions:
        rows = rows_out(plan, take_doubtful)
        written = len(rows["drains"]) if "drains" in rows else 0
        if len(rows) == 1:
            raise QgsProcessingException("Nothing of the file can come in: see the dry run for why.")
        _write(algorithm, context, feedback, path, plan, placed, rows)
        outputs = {"OUTPUT": str(path), "DRAINS": f"{path}|layername=drains"}
    outputs["REPORT"] = _report(algorithm, parameters, context, plan, placed, outputs["OUTPUT"], take_doubtful)
    outputs["SAVE_PROFILE"] = _save_profile(algorithm, parameters, context, plan, answers)
    if path is not None and plan.questions:
        raise QgsProcessingException(_refusal(plan, outputs["REPORT"]))
    table = doubts_table(plan)
    outputs["DOUBTS"] = write_sink(algorithm, parameters, context, feedback, "DOUBTS", DOUBTS, DOUBTS_ALIASES,
                                   Rows.of(table))  # fmt: skip
    for question in plan.questions:
        feedback.pushWarning(f"{question.sentence} Say it with {question.parameter}.")
    feedback.pushInfo(_said(plan, written, bool(outputs["REPORT"])))
    return {
        **outputs,
        "DRAIN_COUNT": plan.count("drains", doubtful=False),
        "DOUBTFUL_COUNT": plan.count("drains", doubtful=True),
        "LEFT_OUT_COUNT": plan.left_out,
        "QUESTION_COUNT": len(plan.questions),
        "LENGTH": sum(one.length for one in plan.sums) * plan.setting.plan_m / plan.setting.units.length_m,
        "WRITTEN": written,
    }


def _write(algorithm, context, feedback, path, plan, placed, rows) -> None:
    datum = "" if plan.setting.datum == "unknown" else plan.setting.datum
    done = write_layout(
        path, placed.crs, placed.units.system, f"Layout {plan.layout['name']}", datum, rows,
        lambda share: feedback.setProgress(70 + 20 * share), feedback.isCanceled,
    )  # fmt: skip
    if not done:
        raise QgsProcessingException("Canceled.")
    algorithm.open_layers(path, tuple(name for name in ("drains", "structures", "shots") if name in rows), context)


def _report(algorithm, parameters, context, plan, placed, written, take_doubtful) -> str | None:
    target = algorithm.parameterAsFileOutput(parameters, "REPORT", context)
    if not target:
        return None
    units, archive = placed.units, algorithm.archive
    crs = f"{placed.crs.authid()} {placed.crs.description()}" if placed.crs.isValid() else "not known"
    facts = Facts(
        title=plan.layout["name"], units=units, made_on=datetime.date.today().isoformat(), version=version(),
        crs=placed.crs_words, drains_read=plan.count("drains"), vertical_datum=plan.setting.datum,
        more=(
            ("Kind of file", plan.source.format), ("Archive", archive.info.name or "none named"),
            ("Coordinates of the layout", crs), ("Reaches", extent_words(plan, units)),
        ),
    )  # fmt: skip
    box = view_box(plan)
    pipes, land = archive.drawn_in(box) if box is not None else ((), ())
    name = Path(written).name if written else ""
    content = import_content(plan, facts, import_map(plan, units, pipes, land), _labels(algorithm), name,
                             take_doubtful)  # fmt: skip
    Path(target).write_text(render_import(content), encoding="utf-8")
    return target


def _labels(algorithm) -> dict[str, str]:
    """What the dialog calls each parameter."""
    return {one.name(): one.description() for one in algorithm.parameterDefinitions()}


def _save_profile(algorithm, parameters, context, plan, answers) -> str | None:
    target = algorithm.parameterAsFileOutput(parameters, "SAVE_PROFILE", context)
    if not target:
        return None
    Path(target).write_text(dump_profile(answers, f"like {plan.layout['name']}"), encoding="utf-8")
    return target


def _refusal(plan, report: str | None) -> str:
    """All questions at once, so that they can be answered at once."""
    asked = " ".join(f"({number}) {one.sentence} Say it with {one.parameter}." for number, one in
                     enumerate(plan.questions, 1))  # fmt: skip
    see = f" The report is in {report}." if report else ""
    return f"Nothing was written: {'this is' if len(plan.questions) == 1 else 'these are'} not known. {asked}{see}"


def _said(plan, written: int, report: bool) -> str:
    good, doubtful = plan.count("drains", doubtful=False), plan.count("drains", doubtful=True)
    see = " See the report in the Results Viewer." if report else ""
    if written:
        return f"{written:,} drains were written.{see}"
    return (
        f"Dry run, nothing was written: {plural(good, 'drain')} can come in, {doubtful:,} doubtful, "
        f"{plural(plan.left_out, 'row')} left out, {plural(len(plan.questions), 'question')} open.{see}"
    )
