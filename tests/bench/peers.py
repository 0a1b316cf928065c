"""What a user of QGIS would run instead, on the same layers."""

from __future__ import annotations

import processing
from county import County
from measure import Clock
from qgis.analysis import QgsGraphBuilder, QgsNetworkDistanceStrategy, QgsVectorLayerDirector
from qgis.core import QgsProcessingFeedback, QgsVectorLayer

TOLERANCE_M = 0.25
STEP_M = 5.0
TREE_DISTANCE_M = 10.0
_CLOSEST_WITH_VERTICES = 1  # snapping behaviour: to the closest point, with a new vertex where there is none
_NO_HEIGHT = -9999.0


def _drains(county: County) -> QgsVectorLayer:
    return QgsVectorLayer(county.layer("drains"), "drains", "ogr")


def _run(clock: Clock, stage: str, algorithm: str, parameters: dict[str, object], output: str = "OUTPUT") -> object:
    with clock(stage):
        results = processing.run(algorithm, {**parameters, output: "memory:"}, feedback=QgsProcessingFeedback(False))
    return results[output]


def read_all(county: County, clock: Clock) -> None:
    """A loop over all features: every attribute, and the geometry as WKB."""
    layer = _drains(county)
    clock.loaded()
    with clock("read"):
        rows = [(feature.attributes(), feature.geometry().asWkb().data()) for feature in layer.getFeatures()]
    clock.facts["rows"] = len(rows)


def graph_builder(county: County, clock: Clock) -> None:
    """QGIS's own graph of the layer; ends on the middle of a pipe stay apart in it."""
    layer = _drains(county)
    director = QgsVectorLayerDirector(layer, -1, "", "", "", QgsVectorLayerDirector.Direction.DirectionBoth)
    director.addStrategy(QgsNetworkDistanceStrategy())
    clock.loaded()
    with clock("graph"):
        builder = QgsGraphBuilder(layer.crs(), False, TOLERANCE_M)
        director.makeGraph(builder, [])
        graph = builder.graph()
    clock.facts.update(vertices=graph.vertexCount(), edges=graph.edgeCount())


def snap_and_split(county: County, clock: Clock) -> None:
    """Ends moved onto the pipes they nearly meet, then all pipes cut where others meet them."""
    layer = _drains(county)
    clock.loaded()
    snapped = _run(clock, "snap", "native:snapgeometries", {
        "INPUT": layer, "REFERENCE_LAYER": layer, "TOLERANCE": TOLERANCE_M, "BEHAVIOR": _CLOSEST_WITH_VERTICES,
    })
    pieces = _run(clock, "split", "native:splitwithlines", {"INPUT": snapped, "LINES": snapped})
    clock.facts["pieces"] = pieces.featureCount()


def densify_and_drape(county: County, clock: Clock) -> None:
    """A vertex every 5 m and the height of the ground cell there, lines in the order of the file (by place)."""
    layer = _drains(county)
    clock.loaded()
    dense = _run(clock, "densify", "native:densifygeometriesgivenaninterval", {"INPUT": layer, "INTERVAL": STEP_M})
    _run(clock, "drape", "native:setzfromraster", {
        "INPUT": dense, "RASTER": str(county.ground), "BAND": 1, "NODATA": _NO_HEIGHT, "SCALE": 1.0,
    })


def join_by_nearest(county: County, clock: Clock) -> None:
    """The nearest wood of every pipe within reach."""
    clock.loaded()
    near = _run(clock, "nearest", "native:joinbynearest", {
        "INPUT": _drains(county), "INPUT_2": county.layer("woods"), "FIELDS_TO_COPY": [], "DISCARD_NONMATCHING": True,
        "PREFIX": "", "NEIGHBORS": 1, "MAX_DISTANCE": TREE_DISTANCE_M,
    })
    clock.facts["near"] = near.featureCount()
