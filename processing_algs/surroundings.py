"""The layers around the drains that checks ask for: ground, trees, land."""

from __future__ import annotations

from qgis.core import (
    QgsProcessing,
    QgsProcessingException,
    QgsProcessingParameterEnum,
    QgsProcessingParameterFeatureSource,
    QgsProcessingParameterMultipleLayers,
    QgsProcessingParameterRasterLayer,
)

GROUND, GROUND_UNIT, TREES, LAND = "GROUND", "GROUND_UNIT", "TREES", "LAND"
GROUND_UNITS = ("auto", "m", "ft", "us-ft")


class Surroundings:
    """Mix-in for network algorithms: parameters, and reading them into the engine's tables."""

    def add_surroundings(self):
        self.add(QgsProcessingParameterRasterLayer(GROUND, self.tr("Ground"), optional=True),
                 "Raster of the bare ground; its first band is sampled between cell centres. No value stays no value.")
        units = QgsProcessingParameterEnum(GROUND_UNIT, self.tr("Unit of the ground heights"), list(GROUND_UNITS),
                                           defaultValue="auto", usesStaticStrings=True)
        self.add(units, "auto: as the units of this run. A ground far from the inverts is reported, not converted.")
        self.add_trees()
        self.add_land()

    def add_trees(self):
        shapes = QgsProcessing.SourceType.TypeVectorAnyGeometry
        self.add(QgsProcessingParameterMultipleLayers(TREES, self.tr("Trees"), shapes, optional=True),
                 "Layers of trees, tree rows and woods; the field thirst says high or ordinary.")

    def add_land(self, help_text="Fields, lots and roads with their owners.", optional=True):
        polygon = [QgsProcessing.SourceType.TypeVectorPolygon]
        self.add(QgsProcessingParameterFeatureSource(LAND, self.tr("Land"), polygon, optional=optional), help_text)

    def prepare_surroundings(self, parameters, context):
        """Layers are looked up on the main thread."""
        self.ground_layer = self.parameterAsRasterLayer(parameters, GROUND, context)
        self.prepare_trees(parameters, context)

    def prepare_trees(self, parameters, context):
        self.tree_layers = self.parameterAsLayerList(parameters, TREES, context) if parameters.get(TREES) else []

    def ground_sampler(self, parameters, context, feedback):
        """The ground at points as the engine asks for it; None where no raster was chosen."""
        if self.ground_layer is None:
            return None
        from ..plugin.qgis_layer.ground import RasterGround
        from ..plugin.qgis_layer.raster import RasterError
        from .read_inputs import frame_of

        unit = self.parameterAsString(parameters, GROUND_UNIT, context) or "auto"
        try:
            return RasterGround(self.ground_layer, frame_of(self, context), unit, feedback.isCanceled)
        except RasterError as error:
            raise QgsProcessingException(str(error)) from None

    def read_trees(self, context, feedback):
        """All tree layers as one plugin.tables.Trees; None where none was chosen."""
        if not self.tree_layers:
            return None
        from ..plugin.tables import Trees
        from .read_inputs import frame_of, read

        frame = frame_of(self, context)
        return Trees.together([Trees.from_frame(read(layer, "trees", frame, feedback)) for layer in self.tree_layers])

    def read_land(self, parameters, context, feedback):
        """The layer LAND as plugin.tables.Land; None where it was not given."""
        from ..plugin.tables import Land
        from .read_inputs import frame_of, read_optional

        frame = read_optional(self, parameters, LAND, "land", frame_of(self, context), context, feedback)
        return None if frame is None else Land.from_frame(frame)
