"""comparelayout: what every line of a layout is beside an archive, and what would drain where."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFileDestination,
)

from .base import bulk_work
from .layout_base import LayoutAlgorithm

REPORT = "REPORT"
_NUMBERS = {
    "LINE_COUNT": "Lines of the layout", "TAKE_COUNT": "Lines that can be taken",
    "JOIN_COUNT": "Lines that can be taken with a joint", "KEEP_COUNT": "Lines the archive has",
    "ASK_COUNT": "Lines to ask about", "LENGTH_ADDED": "Length added by what can be taken",
    "AREA_MOVED": "Land that changes its outlet with what can be taken",
    "AREA_MOVED_ALL": "Land that changes its outlet with all of it",
}  # fmt: skip


class CompareLayout(LayoutAlgorithm):
    """Compares a layout with an archive; changes neither."""

    id_ = "comparelayout"
    title = "Compare a layout"
    tags_ = ("compare", "merge", "layout", "import", "installer", "duplicate", "conflict", "outlet", "difference")
    help_ = (
        "Puts a layout that somebody brings beside the archive: which lines are new, which the archive has already, "
        "which contradict it, and what would drain where if they were taken. Nothing is changed.\n\n"
        "To do: choose the archive and the lines of the layout, best those that Import layout wrote. Run, then read "
        "the report (in the Results Viewer). Go through the lines to ask about; change the column action where you "
        "decide otherwise. Then run Accept a layout, with DECISIONS if you changed any.\n\n"
        "Every line gets the worst class that holds, and all reasons are listed: no usable line, wrong place or unit, "
        "a key used twice, the key of another drain, a near duplicate, drawn twice, in part in the archive, ties in "
        "below the receiving pipe, crosses pipe without a joint, loose, no outlet, leads water elsewhere, crosses a "
        "property line, waits for another line, nearly joined, other facts, identical, new.\n\n"
        "Proposed is: take (new, without a doubt), join (take, and keep the joint it nearly makes), keep (the archive "
        "has it), ask. Drawing direction does not matter. What the layout does not know, such as inverts, is not "
        "checked, and the report says so."
    )
    writes = False

    def initAlgorithm(self, config=None):
        self.add_archive()
        self.add_database()
        self.add_layout()
        self.add_settings("Count every proposed joint as real in this run. Nothing is changed.")
        kinds = QgsProcessing.SourceType
        for key, label, kind, help_text in (
            ("DECISIONS", "Decisions", kinds.TypeVectorLine, "The lines of the layout: class, reasons, what is "
                                                             "proposed, and what accepting does."),
            ("PLACES", "Places", kinds.TypeVectorPoint, "Crossings, loose ends, joints and property lines."),
            ("OUTLET_CHANGES", "Changes of outlet", kinds.TypeVectorPolygon, "Land that would change its outlet, with "
                                                                             "all of it and with what is proposed."),
            ("OUTLETS", "Outlets before and after", kinds.TypeVectorPoint, "Land and pipe of every outlet that is "
                                                                           "touched."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), kind, optional=True, createByDefault=True),
                     help_text)
        self.add(QgsProcessingParameterFileDestination(REPORT, self.tr("Report"), "HTML (*.html)", optional=True,
                                                       createByDefault=True),
                 "One page to read and print: what can be taken, what to ask, what would drain where.")
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.compare.words import said_change, said_classes, said_counts

        compared = self.compare(parameters, context, feedback)
        feedback.setProgress(80)
        units = compared.settings.units
        feedback.pushInfo(said_counts(compared))
        for sentence in said_classes(compared):
            feedback.pushWarning(sentence)
        for change, what in ((compared.proposed_change, "what can be taken"),
                             (compared.all_change, "all that can be accepted")):
            for sentence in said_change(change, units, what):
                feedback.pushInfo(sentence)
        results = self._write(compared, parameters, context, feedback)
        results[REPORT] = self._report(compared, parameters, context)
        counts = {action: int((compared.action == action).sum()) for action in ("take", "join", "keep", "ask")}
        return {
            **results,
            "LINE_COUNT": len(compared.kind),
            **{f"{action.upper()}_COUNT": count for action, count in counts.items()},
            "LENGTH_ADDED": round(compared.proposed_change.length_m / units.length_m, 6),
            "AREA_MOVED": round(compared.proposed_change.moved_area_m2 / units.area_m2, 6),
            "AREA_MOVED_ALL": round(compared.all_change.moved_area_m2 / units.area_m2, 6),
        }

    def _write(self, compared, parameters, context, feedback):
        from ..plugin.compare import columns
        from ..plugin.qgis_layer.rows import Rows
        from .write_sinks import LINE, MULTIPOLYGON, POINT, write_sink

        units = compared.settings.units
        return {
            key: write_sink(self, parameters, context, feedback, key, spec, aliases, Rows.of(*table(compared)), kind)
            for key, spec, aliases, table, kind in (
                ("DECISIONS", columns.DECISIONS, columns.decision_aliases(units), columns.decisions_table, LINE),
                ("PLACES", columns.PLACES, columns.PLACE_ALIASES, columns.places_table, POINT),
                ("OUTLET_CHANGES", columns.OUTLET_CHANGES, columns.outlet_change_aliases(units),
                 columns.changes_table, MULTIPOLYGON),
                ("OUTLETS", columns.OUTLETS, columns.outlet_aliases(units), columns.outlets_table, POINT),
            )
        }

    def _report(self, compared, parameters, context) -> str | None:
        """REPORT as one HTML file; None where the user did not ask for it."""
        from ..plugin.compare.content import comparison_content
        from ..plugin.report.content import Facts
        from ..plugin.report.page import render_comparison
        from .write_results import version

        path = self.parameterAsFileOutput(parameters, REPORT, context)
        if not path:
            return None
        crs, info = self.inputs.crs, self.inputs.info
        facts = Facts(
            title=info.name or self.place_name(),
            units=compared.settings.units,
            made_on=date.today().isoformat(),
            version=version(),
            crs=f"{crs.authid()} {crs.description()}",
            drains_read=len(compared.archive.drains),
            vertical_datum=info.vertical_datum,
            more=(
                ("Layout", f"{self.layout_source.sourceName()}, {len(compared.kind):,} lines"),
                ("Coordinates of the layout", f"{self.layout_source.sourceCrs().authid()}"),
                ("Join tolerance", compared.settings.units.show_length(compared.settings.tolerance_m, 2)),
            ),
        )
        Path(path).write_text(render_comparison(comparison_content(compared, facts)), encoding="utf-8")
        return path
