"""importlayout: a layout that somebody brings, as a file in archive form; a dry run first."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from qgis.core import (
    QgsProcessing,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingLayerPostProcessorInterface,
    QgsProcessingOutputNumber,
    QgsProcessingOutputVectorLayer,
    QgsProcessingParameterBoolean,
    QgsProcessingParameterFeatureSink,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterFile,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterVectorLayer,
    QgsProcessingUtils,
    QgsProviderRegistry,
    QgsVectorLayer,
)

from .base import UNITS, FallkeeperAlgorithm, bulk_work
from .import_inputs import OUTPUT_CRS, add_questions, answers_said

INPUT, ARCHIVE, WRITE, TAKE_DOUBTFUL, PROFILE = "INPUT", "ARCHIVE", "WRITE", "TAKE_DOUBTFUL", "PROFILE"
OUTPUT, DOUBTS, REPORT, SAVE_PROFILE, DRAINS = "OUTPUT", "DOUBTS", "REPORT", "SAVE_PROFILE", "DRAINS"
_NUMBERS = {
    "DRAIN_COUNT": "Drains that can come in", "DOUBTFUL_COUNT": "Doubtful drains",
    "LEFT_OUT_COUNT": "Rows of the file left out", "QUESTION_COUNT": "Open questions", "LENGTH": "Length of the "
    "drains, doubtful ones too",
    "WRITTEN": "Drains written",
}  # fmt: skip
_openers = []  # Processing keeps no Python reference to a post-processor


class LayoutOpener(QgsProcessingLayerPostProcessorInterface):
    """Gives the layers of a new layout the symbols that lie in its file, on the main thread."""

    def postProcessLayer(self, layer, context, feedback):
        layer.loadDefaultStyle()
        if self in _openers:
            _openers.remove(self)


class ImportLayout(FallkeeperAlgorithm):
    """Reads a file of any kind, says what would come in and what is doubtful, and writes it once that is settled."""

    id_ = "importlayout"
    title = "Import layout"
    group_ = "Archive"
    tags_ = ("import", "layout", "dxf", "kml", "kmz", "gpx", "csv", "shapefile", "geojson", "log", "machine", "gnss")
    help_ = (
        "Takes in a layout that somebody brings: GeoPackage, Shapefile, GeoJSON, KML, KMZ, DXF, GPX, or a CSV with "
        "points "
        "in the order in which they were logged. The file is never changed.\n\n"
        "To do: choose the file, and the archive it is meant for. Run. Nothing is written yet: the report says what "
        "would "
        "come in, what the fields were taken for, what is doubtful and why, and asks what only you can know, such as "
        "units. Answer, run again, look at the map. When no question is open, run once more with Write.\n\n"
        "Nothing is guessed in silence, and nothing is lost: what is not understood stays as text in the note. Figures "
        "become those of the archive, log points become lines thinned within their error, heights become inverts and "
        "level shots.\n\n"
        "The result is a file of its own in archive form. Compare it with the archive before it is accepted."
    )

    def initAlgorithm(self, config=None):
        self.add(QgsProcessingParameterFeatureSource(INPUT, self.tr("Layout"), [QgsProcessing.SourceType.TypeVector]),
                 "A file, or a layer of the project as QGIS shows it. Of a file all its layers are read.")
        self.add(QgsProcessingParameterVectorLayer(
                     ARCHIVE, self.tr("Archive it is meant for"), [QgsProcessing.SourceType.TypeVector], optional=True),
                 "Any layer of the archive, or its file: gives CRS, units and vertical datum, and places far from its "
                 "land and drains are doubtful.")
        self.add(QgsProcessingParameterBoolean(WRITE, self.tr("Write, if no question is open"), False),
                 "Off: only say what would come in. On: write it, if no question is open.")
        add_questions(self)
        self.add(QgsProcessingParameterBoolean(TAKE_DOUBTFUL, self.tr("Take doubtful rows too"), False),
                 "They come in with the reason in their note.")
        self.add(QgsProcessingParameterFile(PROFILE, self.tr("Import profile"), extension="json", optional=True),
                 "What was said about an earlier file of the same kind. What is said here comes before it.",
                 advanced=True)
        self.add_units()
        self.add(QgsProcessingParameterFileDestination(OUTPUT, self.tr("Layout in archive form"),
                                                       self.tr("GeoPackage (*.gpkg)"), optional=True,
                                                       createByDefault=False),
                 "The new file. Only written with Write; nothing is overwritten.")
        self.add(QgsProcessingParameterFeatureSink(DOUBTS, self.tr("Doubts"), QgsProcessing.SourceType.TypeVector,
                                                   optional=True, createByDefault=True),
                 "Table: every row that is doubtful, left out or remarked on, why, what to do, and what it holds.")
        self.add(QgsProcessingParameterFileDestination(REPORT, self.tr("Report"), "HTML (*.html)", optional=True,
                                                       createByDefault=True),
                 "One file to read and print: what comes in, the map, questions, doubts.")
        self.add(QgsProcessingParameterFileDestination(SAVE_PROFILE, self.tr("Save what was said as a profile"),
                                                       "JSON (*.json)", optional=True, createByDefault=False),
                 "For the next file of the same kind.", advanced=True)
        for key, label in _NUMBERS.items():
            self.addOutput(QgsProcessingOutputNumber(key, self.tr(label)))
        self.addOutput(QgsProcessingOutputVectorLayer(DRAINS, self.tr("Drains of the layout")))

    def checkParameterValues(self, parameters, context):
        path, _ = self._file(parameters, context)
        if path:  # what is wrong with a file is said in a sentence of its own
            parameters = {**parameters, INPUT: QgsVectorLayer("NoGeometry", "file", "memory")}
        if self.parameterAsBoolean(parameters, WRITE, context) and not parameters.get(OUTPUT):
            return False, self.tr("Name the file the layout is to be written to (OUTPUT), or leave Write off.")
        if self._complaint() is None:
            from ..plugin.qgis_layer.archive_error import ArchiveError
            from ..plugin.qgis_layer.import_archive import ImportArchive

            try:
                ImportArchive.of(self.parameterAsVectorLayer(parameters, ARCHIVE, context))
            except ArchiveError as fault:
                return False, str(fault)
        return super().checkParameterValues(parameters, context)

    def _file(self, parameters, context) -> tuple[str, str]:
        """Path and layer of a file that was named, "" where the input is a layer of the project."""
        value = parameters.get(INPUT)
        if isinstance(value, QgsProcessingFeatureSourceDefinition):
            value, _ = value.source.valueAsString(context.expressionContext())
        if not isinstance(value, (str, Path)) or not str(value):
            return "", ""
        value = str(value)
        if QgsProcessingUtils.mapLayerFromString(value, context, False) is not None:
            return "", ""
        if "://" in value and not Path(value).exists():
            return "", ""
        parts = QgsProviderRegistry.instance().decodeUri("ogr", value)
        path = str(parts.get("path") or "")
        return ("", "") if path.startswith("/vsi") else (path, str(parts.get("layerName") or ""))

    def prepareAlgorithm(self, parameters, context, feedback):
        """Look at layers where that is allowed: on the main thread."""
        if not super().prepareAlgorithm(parameters, context, feedback):
            return False
        from ..plugin.qgis_layer.archive_error import ArchiveError
        from ..plugin.qgis_layer.import_archive import ImportArchive

        self.file = self._file(parameters, context)
        self.source = None
        if not self.file[0]:
            self.source = self.parameterAsSource(parameters, INPUT, context)
            if self.source is None:
                raise QgsProcessingException(self.invalidSourceError(parameters, INPUT))
            self.file = _whole_file(self.parameterAsVectorLayer(parameters, INPUT, context), self.source)
        try:
            self.archive = ImportArchive.of(self.parameterAsVectorLayer(parameters, ARCHIVE, context))
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        return True

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.importing.guess_fields import FieldMapError
        from ..plugin.importing.profile import ProfileError
        from ..plugin.qgis_layer.archive_error import ArchiveError
        from ..plugin.qgis_layer.import_columns import ReadStoppedError
        from ..plugin.qgis_layer.import_formats import ImportFileError

        try:
            return self._run(parameters, context, feedback)
        except (ArchiveError, FieldMapError, ImportFileError, ProfileError) as fault:
            raise QgsProcessingException(str(fault)) from None
        except ReadStoppedError:
            raise QgsProcessingException("Canceled.") from None

    def _run(self, parameters, context, feedback):
        from .import_results import write_results

        answers = self._answers(parameters, context, feedback)
        read = self._read(answers, feedback)
        answers = answers.over(read.own_answers)
        plan, placed = self._plan(parameters, context, feedback, read, answers)
        feedback.setProgress(70)
        return write_results(self, parameters, context, feedback, plan, placed, answers)

    def _answers(self, parameters, context, feedback):
        """What is said, with what the profile says below it."""
        from ..plugin.importing.profile import ProfileError, load_profile
        from ..plugin.units import FOOT_M

        units = self.parameterAsString(parameters, UNITS, context) or "auto"
        plan = self.parameterAsCrs(parameters, OUTPUT_CRS, context)
        answers = answers_said(self, parameters, context, self.archive.length_m(units, plan, FOOT_M))
        path = self.parameterAsFile(parameters, PROFILE, context)
        if not path:
            return answers
        try:
            text = Path(path).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as fault:
            raise ProfileError(f"The import profile {path} cannot be read ({fault}): choose another.") from None
        profile = load_profile(text, Path(path).name)
        for sentence in profile.said:
            feedback.pushWarning(sentence)
        return answers.over(profile.answers)

    def _read(self, answers, feedback):
        from ..plugin.qgis_layer.import_features import read_features
        from ..plugin.qgis_layer.import_file import read_file

        def progress(share):
            feedback.setProgress(40 * share)

        path, layer = self.file
        if path:
            return read_file(path, layer, answers.encoding, feedback.isCanceled, progress)
        return read_features(self.source, self.source.sourceName(), "layer of a project", feedback.isCanceled, progress)

    def _plan(self, parameters, context, feedback, read, answers):
        from ..plugin.importing.issues import Issues
        from ..plugin.importing.plan import make_plan
        from ..plugin.importing.setting import Setting
        from ..plugin.limits import Limits
        from ..plugin.qgis_layer.crs import unit_m
        from ..plugin.qgis_layer.import_place import Goal, place_layers

        crs = self.archive.crs if self.archive.crs.isValid() else self.parameterAsCrs(parameters, OUTPUT_CRS, context)
        units = self.parameterAsString(parameters, UNITS, context) or "auto"
        limits = Limits(self.archive.info.limits)
        goal = Goal(crs, context.transformContext(), units, self.archive.info.units, self.archive.info.vertical_datum,
                    self.archive.box)  # fmt: skip
        placed = place_layers(read, answers, goal, limits["import_far"])
        plan_m = unit_m(placed.crs) if placed.crs.isValid() else placed.units.length_m
        issues = Issues()
        for question in placed.questions:
            issues.ask(question)
        setting = Setting(answers, placed.units, plan_m, limits, issues, read.source.units, read.source.vertical_datum,
                          self.archive.info.vertical_datum)  # fmt: skip
        source = replace(read.source, layers=placed.layers)
        plan = make_plan(source, placed.where, setting, datetime.date.today(),
                         lambda share: feedback.setProgress(40 + 30 * share))  # fmt: skip
        return plan, placed

    def open_layers(self, path: Path, names: tuple[str, ...], context: QgsProcessingContext):
        """Let QGIS load the layers that were filled, with the symbols from their file."""
        for name in names:
            opener = LayoutOpener()
            _openers.append(opener)
            details = QgsProcessingContext.LayerDetails(f"{path.stem}: {name}", context.project(), OUTPUT)
            details.setPostProcessor(opener)
            context.addLayerToLoadOnCompletion(f"{path}|layername={name}", details)


def _whole_file(layer, source) -> tuple[str, str]:
    """The file and layer of a project's layer that shows just what lies in it; else nothing."""
    if layer is None or layer.providerType() != "ogr" or layer.subsetString() or layer.isModified():
        return "", ""
    origin = layer.fields().FieldOrigin.OriginProvider if hasattr(layer.fields(), "FieldOrigin") else 1
    own = all(layer.fields().fieldOrigin(k) == origin for k in range(layer.fields().count()))
    if not own or layer.featureCount() != source.featureCount() or layer.crs() != source.sourceCrs():
        return "", ""
    parts = QgsProviderRegistry.instance().decodeUri("ogr", layer.source())
    path = str(parts.get("path") or "")
    return (path, str(parts.get("layerName") or "")) if path and Path(path).exists() else ("", "")
