"""What lies around a new pipe: the ground and the trees, taken from layers of a project."""

from __future__ import annotations

from collections.abc import Callable

from qgis.core import QgsCoordinateTransformContext, QgsRasterLayer, QgsVectorLayer

from ..tables import Trees
from ..units import Units
from .ground import RasterGround
from .project_layers import TREES
from .read import Frame, read_layer
from .snapshot import Snapshot


class Surroundings:
    """Made on the main thread; then any one thread may ask it. Raises RasterError for a ground that cannot be used."""

    def __init__(
        self, layers: dict[str, QgsVectorLayer], ground: QgsRasterLayer | None, units: Units,
        transforms: QgsCoordinateTransformContext, is_canceled: Callable[[], bool] = lambda: False,
    ) -> None:
        self._frame = Frame(layers["drains"].crs(), transforms, units)
        self._trees = [Snapshot(layers[name]) for name in TREES if name in layers]
        self.ground_name = "" if ground is None else ground.name()
        self.sampler = None if ground is None else RasterGround(ground, self._frame, is_canceled=is_canceled)

    def read_trees(self) -> Trees | None:
        """All trees; None where no layer of trees is there."""
        read = [Trees.from_frame(read_layer(one, "trees", self._frame)) for one in self._trees]
        return Trees.together(read) if read else None
