"""Checks of a county that is loaded already, with the ground and the trees of the project."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from qgis.core import QgsCoordinateTransformContext, QgsRasterLayer, QgsVectorLayer

from ..checks.case import Case
from ..checks.catalogue import CHECKS
from ..checks.ground_fault import ground_fault
from ..checks.run import Results, run_checks
from ..county import County
from ..elevation.ground import sample_lines
from ..network.by_ground import flow_by_ground
from ..tables import Trees
from .ground import RasterGround
from .load import Loaded
from .read import Frame, read_layer
from .snapshot import Snapshot

TREE_LAYERS = ("trees", "tree_rows", "woods")


class CheckLoader:
    """Made on the main thread; `check` runs in any one thread."""

    def __init__(
        self, loaded: Loaded, layers: dict[str, QgsVectorLayer], ground: QgsRasterLayer | None,
        transforms: QgsCoordinateTransformContext, is_canceled: Callable[[], bool],
    ) -> None:
        """Raises RasterError with a sentence where the ground cannot be used."""
        self._loaded, self._is_canceled = loaded, is_canceled
        self._frame = Frame(layers["drains"].crs(), transforms, loaded.county.units)
        self._trees = [Snapshot(layers[name]) for name in TREE_LAYERS if name in layers]
        self._ground_name = "" if ground is None else ground.name()
        self._sampler = None if ground is None else RasterGround(ground, self._frame, is_canceled=is_canceled)

    def check(self, progress: Callable[[float], None]) -> tuple[Case, Results]:
        """Raises SamplingCanceledError, ReadCanceledError or CanceledError when told to stop."""
        county, fault = self._with_ground(lambda share: progress(0.6 * share))
        trees = [read_layer(snapshot, "trees", self._frame, None, self._is_canceled) for snapshot in self._trees]
        case = Case(
            county, Trees.together([Trees.from_frame(frame) for frame in trees]) if trees else None,
            self._loaded.land, fault,
        )
        return case, run_checks(case, CHECKS, lambda share: progress(0.6 + 0.4 * share), self._is_canceled)

    def _with_ground(self, progress: Callable[[float], None]) -> tuple[County, str]:
        """The county with the ground along its pipes, and why the ground was not used."""
        county = self._loaded.county
        if self._sampler is None:
            return county, ""
        net = county.network
        profile = sample_lines(net.lines, self._sampler, county.limits["ground_step"], net.active, progress)
        county = County(flow_by_ground(net, dataclasses.replace(county.evidence, ground=profile)), county.limits,
                        county.units, profile)
        fault = ground_fault(county, self._ground_name)
        return (dataclasses.replace(county, ground=None), fault) if fault else (county, "")
