"""fieldreturn: what came back from the field, looked at first and then written as one batch."""

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsFeature,
    QgsFeatureSink,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFile,
    QgsWkbTypes,
)

from .archive_inputs import add_archive, archive_place, refuse_while_edited, show_changes
from .base import FallkeeperAlgorithm

COPY, CONFLICTS, WRITE, PHOTOS, CHANGES = "COPY", "CONFLICTS", "WRITE", "PHOTOS", "CHANGES"
KEEP_ARCHIVE, TAKE_FIELD = "archive", "field"
_NUMBERS = {
    "CHANGE_COUNT": "Rows that can be written", "CONFLICT_COUNT": "Conflicts", "REFUSED_COUNT": "Rows refused",
    "WRITTEN": "Rows written",
}  # fmt: skip
BATCH = "BATCH"
COLUMNS = {
    "layer": "Layer", "key": "Key", "what": "What", "field": "Field", "before": "When the copy was taken",
    "archive": "In the archive now", "copy": "In the copy", "outcome": "What becomes of it",
}  # fmt: skip


class FieldReturn(FallkeeperAlgorithm):
    """Compares a copy that comes back with the archive, and writes what can be written."""

    id_ = "fieldreturn"
    title = "Bring back from the field"
    group_ = "Archive"
    tags_ = ("field", "phone", "tablet", "mobile", "offline", "synchronise", "conflict", "merge", "return", "archive")
    help_ = (
        "Compares a copy taken with 'Take a copy to the field' with the archive: what is new, changed and deleted in "
        "the copy, and what somebody changed in the archive meanwhile.\n\n"
        "To do: run; nothing is written yet. Look at the table of changes. What both sides changed to different values "
        "is a conflict, listed with both; it is left as the archive has it unless you choose the field's. Rows that "
        "break a rule of the archive are listed with the reason: mend them in the copy and run again. When you agree, "
        "run once more with Write: all is written in one step, one batch of the history.\n\n"
        "The copy stays as it is. Running twice writes nothing twice."
    )

    def initAlgorithm(self, config=None):
        add_archive(self, "Nobody may have it in edit mode here while it is written.")
        self.add(QgsProcessingParameterFile(COPY, self.tr("Copy"), fileFilter=self.tr("GeoPackage (*.gpkg)")),
                 "The GeoPackage that came back from the field.")
        self.add(QgsProcessingParameterEnum(CONFLICTS, self.tr("Where both sides changed a value"),
                                            [KEEP_ARCHIVE, TAKE_FIELD], defaultValue=KEEP_ARCHIVE,
                                            usesStaticStrings=True),
                 "archive: keep what the archive has. field: take what the copy has. Either way each one is listed, "
                 "and the history keeps both.")
        self.add(QgsProcessingParameterBoolean(WRITE, self.tr("Write"), False),
                 "Off: only say what would be written. On: write it.")
        self.add(QgsProcessingParameterFile(PHOTOS, self.tr("Folder of the photos"),
                                            QgsProcessingParameterFile.Behavior.Folder, optional=True),
                 "Where new photos are copied to, under the same relative path; default: the folder of the archive's "
                 "file. No file is overwritten.", advanced=True)
        self.add(QgsProcessingParameterFeatureSink(CHANGES, self.tr("Changes"), QgsProcessing.SourceType.TypeVector,
                                                   optional=True, createByDefault=True),
                 "Every change, conflict and refused row, with what each side holds.")
        for name, words in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(name, self.tr(words)))
        self.addOutput(QgsProcessingOutputString(BATCH, self.tr("Batch in the history")))

    def prepareAlgorithm(self, parameters, context, feedback):
        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        self.place, self.project = archive_place(self, parameters, context), context.project()
        self.write = self.parameterAsBoolean(parameters, WRITE, context)
        if self.write:
            refuse_while_edited(self.place, self.project)
        return True

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.qgis_layer.archive_error import ArchiveError
        from ..plugin.qgis_layer.field_copy_back import plan_return, write_plan

        path = Path(self.parameterAsFile(parameters, COPY, context))
        clashes = self.parameterAsEnumString(parameters, CONFLICTS, context)
        try:
            plan = plan_return(path, self.place, clashes, feedback.pushWarning)
            batch = ""
            if self.write and plan.changes:
                batch = write_plan(plan, self.place, path, self._photos(parameters, context), feedback.pushWarning)
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        results = self._listed(plan, parameters, context, bool(batch))
        counts = (len(plan.changes), len(plan.decisions), len(plan.refused), len(plan.changes) if batch else 0)
        self._say(counts, feedback)
        return {**results, **dict(zip(_NUMBERS, counts)), BATCH: batch}

    def postProcessAlgorithm(self, context, feedback):
        if self.write:
            show_changes(self.place, self.project)
        return {}

    def _photos(self, parameters, context):
        folder = self.parameterAsFile(parameters, PHOTOS, context)
        if folder:
            return Path(folder)
        return self.place.parent if isinstance(self.place, Path) else None

    def _listed(self, plan, parameters, context, written):
        from ..plugin.qgis_layer.fields import make_fields
        from ..plugin.sharing.words import plan_rows

        fields = make_fields(dict.fromkeys(COLUMNS, "text"))
        sink, destination = self.parameterAsSink(parameters, CHANGES, context, fields, QgsWkbTypes.Type.NoGeometry)
        if sink is None:
            return {}
        for values in plan_rows(plan, written):
            row = QgsFeature(fields)
            row.setAttributes(list(values))
            sink.addFeature(row, QgsFeatureSink.Flag.FastInsert)
        self.style_when_loaded(destination, CHANGES, context, COLUMNS)
        return {CHANGES: destination}

    def _say(self, counts, feedback):
        changes, conflicts, refused, written = counts
        feedback.pushInfo(f"{changes:,} rows can be written, {conflicts:,} conflicts, {refused:,} rows refused.")
        if conflicts:
            feedback.pushWarning(f"{conflicts:,} values were changed on both sides: look at the table of changes.")
        if refused:
            feedback.pushWarning(f"{refused:,} rows break a rule and are not written: mend them in the copy.")
        if written:
            feedback.pushInfo(f"{written:,} rows were written.")
        elif changes:
            feedback.pushInfo("Nothing was written yet: run again with Write.")

    def _complaint(self):
        """A copy can be brought back without any of the packages."""
        return None
