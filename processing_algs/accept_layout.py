"""acceptlayout: take lines of a layout into an archive, in one step that can be undone."""

from __future__ import annotations

import re

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterString,
)

from .archive_base import told
from .base import bulk_work
from .layout_base import LayoutAlgorithm
from .line_classes import LINE_CLASSES

DECISIONS, LINES, CLASSES, WHY = "DECISIONS", "LINES", "CLASSES", "WHY"
_NUMBERS = {
    "TAKEN_COUNT": "Drains added", "REDRAWN_COUNT": "Drains redrawn", "JOINT_COUNT": "Joints kept",
    "LENGTH_ADDED": "Length added", "AREA_MOVED": "Land that changes its outlet",
}  # fmt: skip


class AcceptLayout(LayoutAlgorithm):
    """Writes the accepted lines into the archive; everything else in it stays as it is."""

    id_ = "acceptlayout"
    title = "Accept a layout"
    tags_ = ("accept", "merge", "layout", "import", "installer", "take", "undo")
    help_ = (
        "Takes lines of a layout into an archive. All is written in one transaction, or nothing is, and it is one "
        "batch of the history, with who and why. The archive's other rows stay as they are.\n\n"
        "To do: run Compare a layout first and read its report. Then run this with the same archive and layout. As it "
        "stands, the lines proposed as take are taken: new pipe without a doubt. To decide otherwise, change the "
        "column action in DECISIONS (take, join, replace, keep, ask) and choose that layer here; or name lines by "
        "their keys, or classes of lines.\n\n"
        "take adds the line as a drain. join adds it and keeps the joint it nearly makes as a structure of kind joint. "
        "replace redraws the archive's drain: known facts replace the old ones, levels of ends that moved become "
        "unknown, and the drain as it was stays in the history.\n\n"
        "The layout stays attached: a row in Layouts, its key on every drain, and all its lines as they were brought, "
        "taken or not, in Lines of layouts. No layer of the archive may be in edit mode."
    )

    def initAlgorithm(self, config=None):
        self.add_archive()
        self.add_database()
        self.add_layout()
        self.add(QgsProcessingParameterFeatureSource(DECISIONS, self.tr("Decisions"),
                                                     [QgsProcessing.SourceType.TypeVector], optional=True),
                 "DECISIONS of Compare a layout, with the column action as you decided: take, join and replace are "
                 "accepted, keep and ask are not.")
        self.add(QgsProcessingParameterString(LINES, self.tr("Only these lines"), optional=True),
                 "Keys of lines, or names that one line has alone (columns drain_id and name of DECISIONS), with "
                 "semicolons between them.")
        self.add(QgsProcessingParameterEnum(CLASSES, self.tr("Only these classes"), list(LINE_CLASSES),
                                            allowMultiple=True, optional=True, usesStaticStrings=True),
                 "Lines of these classes, accepted as the comparison says. With neither lines nor classes nor "
                 "decisions: what is proposed as take.")
        self.add_settings("Take lines that nearly meet pipe too, and keep their joints as structures.")
        self.add(QgsProcessingParameterString(WHY, self.tr("Why"), optional=True),
                 "What the history will say; default: the name of the layout.", advanced=True)
        self.add_who()
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))
        self.addOutput(QgsProcessingOutputString("BATCH", self.tr("Batch of the history")))

    def prepareAlgorithm(self, parameters, context, feedback):
        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        self.decisions = None
        if parameters.get(DECISIONS) not in (None, ""):
            self.decisions = self.parameterAsSource(parameters, DECISIONS, context)
            if self.decisions is None:
                raise QgsProcessingException(self.invalidSourceError(parameters, DECISIONS))
        return True

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.compare.given import CompareCanceledError
        from ..plugin.compare.words import said_accepted, said_change
        from .layout_inputs import change_of_chosen, plan_unit_m, read_brought

        compared = self.compare(parameters, context, feedback)
        feedback.setProgress(70)
        chosen = self._decide(compared, parameters, context)
        units = compared.settings.units
        if not len(chosen.accepted):
            feedback.pushWarning("No line is accepted, and nothing was changed: see Compare a layout for what to "
                                 "decide.")
            return {**dict.fromkeys(_NUMBERS, 0), "BATCH": ""}
        change = change_of_chosen(compared, chosen)
        brought = read_brought(self.inputs, len(compared.kind))
        why = self.parameterAsString(parameters, WHY, context).strip() or f"Layout {brought.name}"
        feedback.setProgress(80)
        try:
            with told():
                accepted = self._accept(compared, chosen, brought, plan_unit_m(self.inputs), why)
        except CompareCanceledError:
            raise QgsProcessingException("Canceled, and nothing was changed.") from None
        feedback.pushInfo(said_accepted(accepted))
        for sentence in said_change(change, units, "these"):
            feedback.pushInfo(sentence)
        return {
            "TAKEN_COUNT": len(accepted.taken),
            "REDRAWN_COUNT": len(accepted.redrawn),
            "JOINT_COUNT": accepted.joints,
            "LENGTH_ADDED": round(change.length_m / units.length_m, 6),
            "AREA_MOVED": round(change.moved_area_m2 / units.area_m2, 6),
            "BATCH": accepted.batch,
        }

    def _accept(self, compared, chosen, brought, unit_m, why):
        """In one transaction, in a file or in a database."""
        from ..plugin.compare.accept import KIND, accept_into, accept_layout
        from ..plugin.qgis_layer.archive import open_layer
        from ..plugin.qgis_layer.database_batch import database_batch
        from ..plugin.qgis_layer.schema_versions import must_be_current

        units = self.inputs.archive_units
        if self.place is self.path:
            return accept_layout(self.path, compared, chosen, brought, unit_m, units, why, self.who)
        must_be_current(open_layer(self.place, "archive"), str(self.place))
        with database_batch(self.place, KIND, why, self.who) as batch:
            return accept_into(batch, compared, chosen, brought, unit_m, units)

    def _decide(self, compared, parameters, context):
        from ..plugin.compare.decide import DecisionError, decide

        lines = [one.strip() for one in re.split(r"[;\n]", self.parameterAsString(parameters, LINES, context) or "")]
        keys = [one for one in lines if one]
        classes = self.parameterAsEnumStrings(parameters, CLASSES, context) if parameters.get(CLASSES) else []
        if self.decisions is not None and (keys or classes):
            raise QgsProcessingException("Give DECISIONS, or name lines and classes: not both.")
        try:
            return decide(compared, keys=keys, classes=classes, actions=self._actions())
        except DecisionError as fault:
            raise QgsProcessingException(str(fault)) from None

    def _actions(self) -> dict[str, str] | None:
        """Action by line, from DECISIONS."""
        if self.decisions is None:
            return None
        from ..plugin.qgis_layer.read import read_rows

        names = self.decisions.fields().names()
        if "drain_id" not in names or "action" not in names:
            raise QgsProcessingException(
                f"The layer '{self.decisions.sourceName()}' has no columns drain_id and action: choose DECISIONS of "
                "Compare a layout."
            )
        return {str(row["drain_id"]): str(row["action"] or "").strip().lower() for row in read_rows(self.decisions)}
