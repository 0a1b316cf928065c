"""verifyarchive: whether an archive is whole, and its triggers put back."""

from __future__ import annotations

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeature,
    QgsFeatureSink,
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFeatureSink,
    QgsWkbTypes,
)

from .archive_base import ArchiveAlgorithm, told

MEND, OUTPUT = "MEND", "OUTPUT"
_FIELDS = {"kind": "text", "layer": "text", "mended": "text", "what": "text"}
_ALIASES = {"kind": "Kind", "layer": "Layer", "mended": "Put right", "what": "What was found"}
_NUMBERS = {
    "FAULT_COUNT": "Found", "MENDED_COUNT": "Put right", "OPEN_COUNT": "Still to do",
    "GAP_COUNT": "Gaps in the history",
}


class VerifyArchive(ArchiveAlgorithm):
    """Looks an archive over."""

    id_ = "verifyarchive"
    title = "Verify archive"
    tags_ = ("archive", "verify", "check", "integrity", "damaged", "repair", "history", "trigger", "corrupt", "health")
    help_ = (
        "Looks over the file of an archive: whether the file is damaged, whether all layers and columns are there and "
        "of the right kind, whether every row has a key of its own, whether all changes are watched for the history, "
        "and whether the history has gaps.\n\n"
        "Changes are watched by triggers in the file. A program that replaces a whole layer drops them, and a column "
        "that somebody adds is not watched. Both are put right at once, missing columns come back empty, and the "
        "history says when, by whom and why; also where changes may have been missed. No row is changed.\n\n"
        "To do: choose the archive and run. Read the table: what was put right needs no more; all else says what to "
        "do. A file that cannot be written, or is damaged, is only told about.\n\n"
        "The panel Fallkeeper does the same whenever it opens an archive. A change past the triggers that leaves its "
        "row in place cannot be seen afterwards; keep copies."
    )

    def initAlgorithm(self, config=None):
        self.add_archive()
        self.add(QgsProcessingParameterBoolean(MEND, self.tr("Put right what can be"), True),
                 "Off: the archive is only looked at.", advanced=True)
        self.add_who()
        self.add(QgsProcessingParameterFeatureSink(OUTPUT, self.tr("Verification"),
                                                   QgsProcessing.SourceType.TypeVector, optional=True,
                                                   createByDefault=True),
                 "One row for everything found, with a sentence; no rows if all is well.")
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))

    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.history.verify import GAP_FOUND, CanceledError, verify_archive

        mend = self.parameterAsBoolean(parameters, MEND, context)
        try:
            with told():
                verified = verify_archive(self.path, self.who, mend, feedback.isCanceled)
        except CanceledError:
            raise QgsProcessingException("Canceled, and nothing was changed.") from None
        faults = verified.faults
        for fault in faults:
            say = feedback.pushInfo if fault.mended else feedback.pushWarning
            say(f"{fault.sentence}{' Put right.' if fault.mended else ''}")
        if verified.not_mended:
            feedback.pushWarning(f"Nothing was put right: {verified.not_mended}")
        mended = len(verified.mended)
        feedback.pushInfo(
            f"{len(faults):,} found, {mended:,} put right." if faults else "The archive is whole: nothing was found."
        )
        return {
            OUTPUT: self._write(faults, parameters, context), "FAULT_COUNT": len(faults), "MENDED_COUNT": mended,
            "OPEN_COUNT": len(faults) - mended, "GAP_COUNT": sum(fault.kind == GAP_FOUND for fault in faults),
        }

    def _write(self, faults, parameters, context):
        from ..plugin.qgis_layer.fields import make_fields

        fields = make_fields(_FIELDS)
        sink, destination = self.parameterAsSink(parameters, OUTPUT, context, fields, QgsWkbTypes.Type.NoGeometry,
                                                 QgsCoordinateReferenceSystem())
        if sink is None:
            if parameters.get(OUTPUT) is None:
                return None
            raise QgsProcessingException(self.invalidSinkError(parameters, OUTPUT))
        for fault in faults:
            row = QgsFeature(fields)
            row.setAttributes([fault.kind, fault.layer, "yes" if fault.mended else "no", fault.sentence])
            if not sink.addFeature(row, QgsFeatureSink.Flag.FastInsert):
                raise QgsProcessingException(f"{OUTPUT} could not be written: {sink.lastError()}")
        self.style_when_loaded(destination, "VERIFICATION", context, _ALIASES)
        return destination
