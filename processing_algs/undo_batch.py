"""undobatch: take back a merge, a repair or a day's work, and list what there is to take back."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingOutputString,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterDateTime,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterString,
)

from .archive_base import ArchiveAlgorithm, told

BATCH, DAY, DONE_BY, LOOK = "BATCH", "DAY", "DONE_BY", "LOOK"
BATCHES, ROWS, UNDO = "BATCHES", "ROWS", "UNDO"
_BATCHES = {"batch": "text", "kind": "text", "day": "text", "from_utc": "text", "to_utc": "text", "who": "text",
            "why": "text", "changes": "integer", "layers": "text"}  # fmt: skip
_BATCH_HEADS = {"batch": "Batch", "kind": "Kind", "day": "Day", "from_utc": "From (UTC)", "to_utc": "To (UTC)",
                "who": "Who", "why": "Why", "changes": "Changes", "layers": "Layers"}  # fmt: skip
_ROWS = {"layer": "text", "key": "text", "change": "text", "conflict": "text"}
_ROW_HEADS = {"layer": "Layer", "key": "Key", "change": "What is done", "conflict": "Why not"}
_NUMBERS = {"ROW_COUNT": "Rows taken back, or that would be", "CONFLICT_COUNT": "Rows that stand in the way"}
_SHOWN = 10


class UndoBatch(ArchiveAlgorithm):
    """Rows become what they were before, all of them or none."""

    id_ = "undobatch"
    title = "Undo a batch"
    tags_ = ("undo", "take back", "batch", "merge", "repair", "history", "revert", "day", "list")
    help_ = (
        "Takes back what a batch did to an archive, such as a layout that was accepted, or a day's work, of all or of "
        "one person. Its rows become what they were before: those it added are taken out, those it changed are "
        "changed back, those it deleted come back, in one transaction, or nothing is done. It becomes a batch of the "
        "history itself, so that it can be taken back too; nothing is lost.\n\n"
        "To do: run it with the archive alone: the table BATCHES lists what was done, the newest first. Copy a batch "
        "from there, or give a day and a name. With Only look, the table ROWS says what would be done, row by row. Run "
        "again without it.\n\n"
        "If a row was changed since, or a later row refers to one that would go, it is refused and the rows are named: "
        "take the later work back first, or change these rows by hand.\n\n"
        "An archive file does not know who deletes a row by hand: with a name, such deletions stay, and a warning says "
        "so. No layer of the archive may be in edit mode. For an archive in a file; one in a database keeps the same "
        "history, and is copied into a file with 'Copy archive to a file'."
    )

    def initAlgorithm(self, config=None):
        self.add_archive()
        self.add(QgsProcessingParameterString(BATCH, self.tr("Batch"), optional=True),
                 "As the table BATCHES calls it, for instance merge-20260510T081530-0a1b2c. Neither batch nor day: "
                 "only list what there is.")
        self.add(QgsProcessingParameterDateTime(DAY, self.tr("Or all work of the day"),
                                                QgsProcessingParameterDateTime.Type.Date, optional=True),
                 "By the clock of this computer, from midnight to midnight.")
        self.add(QgsProcessingParameterString(DONE_BY, self.tr("Done by"), optional=True),
                 "With a day: only the work of this person, as the history writes the name.")
        self.add(QgsProcessingParameterBoolean(LOOK, self.tr("Only look"), False),
                 "Change nothing; say row by row what would be done and what stands in the way.")
        self.add_who()
        table = QgsProcessing.SourceType.TypeVector
        for key, label, help_text in (
            (BATCHES, "What was done", "One row a batch, or a day of edits by hand of one person; the newest first."),
            (ROWS, "Rows taken back", "One row for each that is taken back, or would be."),
        ):
            self.add(QgsProcessingParameterFeatureSink(key, self.tr(label), table, optional=True,
                                                       createByDefault=True), help_text)
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))
        self.addOutput(QgsProcessingOutputString(UNDO, self.tr("Batch that took it back")))

    def checkParameterValues(self, parameters, context):
        day = self.parameterAsDateTime(parameters, DAY, context).isValid()
        batch = self.parameterAsString(parameters, BATCH, context).strip()
        if batch and day:
            return False, self.tr("Give a batch or a day, not both.")
        if self.parameterAsString(parameters, DONE_BY, context).strip() and not day:
            return False, self.tr("Give the day too whose work is to be taken back.")
        return super().checkParameterValues(parameters, context)

    def prepareAlgorithm(self, parameters, context, feedback):
        self.source = None  # tables have no CRS
        batch = self.parameterAsString(parameters, BATCH, context).strip()
        day = self.parameterAsDateTime(parameters, DAY, context).date()
        self.chosen = None
        if batch or day.isValid():
            from ..plugin.history.undo import Chosen

            done_by = self.parameterAsString(parameters, DONE_BY, context).strip()
            self.chosen = Chosen(batch, day.toPyDate() if day.isValid() else None, done_by)
        self.writes = self.chosen is not None and not self.parameterAsBoolean(parameters, LOOK, context)
        return super().prepareAlgorithm(parameters, context, feedback)

    def processAlgorithm(self, parameters, context, feedback):
        with told():
            taken_back = self._take_back(feedback) if self.chosen is not None else None
        rows = taken_back.rows if taken_back is not None else []
        for caution in taken_back.cautions if taken_back is not None else ():
            feedback.pushWarning(caution)
        columns = {name: [getattr(row, name) or None for row in rows] for name in _ROWS}
        results = {
            ROWS: self._write(ROWS, _ROWS, _ROW_HEADS, columns, parameters, context, feedback),
            BATCHES: self._list(parameters, context, feedback),
            "ROW_COUNT": len(rows), "CONFLICT_COUNT": 0 if taken_back is None else len(taken_back.conflicts),
            UNDO: "" if taken_back is None else taken_back.batch,
        }
        self._say(taken_back, feedback)
        return results

    def _take_back(self, feedback):
        from ..plugin.history.progress import CanceledError, Progress
        from ..plugin.history.undo import look_at_undo, undo

        if not self.writes:
            return look_at_undo(self.path, self.chosen)
        progress = Progress(lambda share: feedback.setProgress(90 * share), feedback.isCanceled)
        try:
            return undo(self.path, self.chosen, self.who, progress)
        except CanceledError:
            raise QgsProcessingException("Canceled, and nothing was changed.") from None

    def _list(self, parameters, context, feedback):
        from contextlib import closing

        from ..plugin.history.batches import last_batches
        from ..plugin.history.file import open_archive, told_plainly

        with told(), closing(open_archive(self.path)) as connection, told_plainly(self.path):
            done = last_batches(connection)
        if self.chosen is None:
            feedback.pushInfo("Nothing is changed. The last that was done:")
            for one in done[:_SHOWN]:
                said = f"{one.day}  {one.batch or 'by hand'}  {one.who}  {one.why}"
                feedback.pushInfo(f"{said}  ({one.changes:,} changes)")
        columns = {
            "batch": [one.batch or None for one in done], "kind": [one.kind for one in done],
            "day": [one.day for one in done], "from_utc": [one.first for one in done],
            "to_utc": [one.last for one in done], "who": [one.who or None for one in done],
            "why": [one.why or None for one in done], "changes": [one.changes for one in done],
            "layers": [one.layers.replace(",", ", ") for one in done],
        }
        return self._write(BATCHES, _BATCHES, _BATCH_HEADS, columns, parameters, context, feedback)

    def _write(self, key, spec, heads, columns, parameters, context, feedback):
        import numpy as np

        from ..plugin.qgis_layer.rows import Rows
        from .write_sinks import write_sink

        kinds = {"integer": np.int64}
        arrays = {name: np.array(values, dtype=kinds.get(spec[name], object)) for name, values in columns.items()}
        return write_sink(self, parameters, context, feedback, key, spec, heads, Rows.of(arrays))

    def _say(self, taken_back, feedback):
        if taken_back is None:
            return
        if taken_back.batch:
            feedback.pushInfo(
                f"{len(taken_back.rows):,} rows are as they were before {self.chosen.words}. To take this back: batch "
                f"{taken_back.batch}."
            )
            return
        feedback.pushInfo(f"Nothing is changed. {len(taken_back.rows):,} rows would be taken back.")
        for conflict in taken_back.conflicts[:_SHOWN]:
            feedback.pushWarning(f"In the way: {conflict}.")
