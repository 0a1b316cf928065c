"""What all algorithms share: names, help, the question whether the packages are there, styled results."""

from __future__ import annotations

import functools
from pathlib import Path

from qgis.core import (
    QgsApplication,
    QgsProcessingAlgorithm,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingLayerPostProcessorInterface,
    QgsProcessingParameterDefinition,
    QgsProcessingParameterEnum,
)
from qgis.PyQt.QtCore import QCoreApplication
from qgis.PyQt.QtGui import QIcon

from ..plugin import dependencies
from ..plugin.bulk import many_objects

ICON = Path(__file__).resolve().parents[1] / "plugin" / "icons" / "fallkeeper.svg"
UNITS = "UNITS"
UNIT_CHOICES = ("auto", "us", "metric")

_stylers = []  # Processing keeps no Python reference to a post-processor


class Styler(QgsProcessingLayerPostProcessorInterface):
    """Gives a loaded result its symbols and its column heads for people, on the main thread."""

    def __init__(self, result: str, aliases: dict):
        super().__init__()
        self.result = result
        self.aliases = aliases

    def postProcessLayer(self, layer, context, feedback):
        from ..plugin.qgis_layer.columns import show_result_columns
        from ..plugin.qgis_layer.style import style_for

        give_style = style_for(self.result)
        if give_style is not None:
            give_style(layer)
        show_result_columns(layer, self.aliases)
        if self in _stylers:
            _stylers.remove(self)


def bulk_work(process):
    """Around a `processAlgorithm` that makes very many objects."""

    @functools.wraps(process)
    def processed(self, parameters, context, feedback):
        with many_objects():
            return process(self, parameters, context, feedback)

    return processed


class FallkeeperAlgorithm(QgsProcessingAlgorithm):
    """An algorithm with its texts as class attributes.

    `id_`, `title`, `group_` (name people see), `tags_`, `help_`. A subclass adds parameters with `add`.
    """

    id_ = ""
    title = ""
    group_ = ""
    tags_ = ()
    help_ = ""

    def name(self):
        return self.id_

    def displayName(self):
        return self.tr(self.title)

    def group(self):
        return self.tr(self.group_)

    def groupId(self):
        return self.group_.lower().replace(" ", "")

    def tags(self):
        return [self.tr(tag) for tag in (*self.tags_, "drain", "tile", "pipe")]

    def shortHelpString(self):
        return self.tr(self.help_)

    def icon(self):
        return QIcon(str(ICON))

    def svgIconPath(self):
        return str(ICON)

    def createInstance(self):
        return type(self)()

    def tr(self, text):
        return QCoreApplication.translate("Fallkeeper", text)

    def canExecute(self):
        complaint = self._complaint()
        return (True, "") if complaint is None else (False, complaint.summary)

    def add(self, parameter: QgsProcessingParameterDefinition, help_text: str, advanced: bool = False):
        parameter.setHelp(self.tr(help_text))
        if advanced:
            parameter.setFlags(parameter.flags() | QgsProcessingParameterDefinition.Flag.FlagAdvanced)
        self.addParameter(parameter)

    def add_units(self):
        units = QgsProcessingParameterEnum(UNITS, self.tr("Units"), list(UNIT_CHOICES), defaultValue="auto",
                                           usesStaticStrings=True)
        self.add(units, "us: ft, in, acres, gal/min. metric: m, mm, ha, L/s. auto: those of the archive the drains "
                        "lie in, else feet for a layer in feet and metres for one in metres.")

    def prepareAlgorithm(self, parameters, context, feedback):
        complaint = self._complaint()  # qgis_process of 3.22 does not ask canExecute
        if complaint is not None:
            raise QgsProcessingException(complaint.text)
        dependencies.import_apart("pyproj")  # comes with geopandas
        return True

    def style_when_loaded(self, destination: str, result: str, context: QgsProcessingContext, aliases: dict):
        """Give a result its symbols and column heads if QGIS is going to load it."""
        if context.willLoadLayerOnCompletion(destination):
            styler = Styler(result, aliases)
            _stylers.append(styler)
            context.layerToLoadOnCompletionDetails(destination).setPostProcessor(styler)

    def _complaint(self):
        return dependencies.complaint(Path(QgsApplication.qgisSettingsDirPath()))
