"""The Processing algorithms as a user runs them, with all their outputs, to GeoPackages and to memory."""

from __future__ import annotations

import tempfile
from pathlib import Path

import processing
from county import County
from measure import Clock
from qgis.core import QgsFeature, QgsGeometry, QgsProcessingFeedback, QgsVectorLayer

BUILD_SINKS = ("PIPES", "NODES", "LINE_FINDINGS", "POINT_FINDINGS")
CHECK_SINKS = ("LINE_FINDINGS", "POINT_FINDINGS", "NOT_CHECKED")
TREES = ("tree_rows", "woods")


class _Feedback(QgsProcessingFeedback):
    """Keeps errors, which would make a figure worthless."""

    def __init__(self) -> None:
        super().__init__(False)
        self.errors: list[str] = []

    def reportError(self, error: str, fatalError: bool = False) -> None:
        self.errors.append(error)


def build_to_geopackage(county: County, clock: Clock) -> None:
    with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_") as aside:
        _build(county, clock, _files(BUILD_SINKS, Path(aside)))


def build_to_memory(county: County, clock: Clock) -> None:
    _build(county, clock, dict.fromkeys(BUILD_SINKS, "memory:"))


def check_to_geopackage(county: County, clock: Clock) -> None:
    with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_") as aside:
        _check(county, clock, _files(CHECK_SINKS, Path(aside)), Path(aside))


def check_to_memory(county: County, clock: Clock) -> None:
    with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_") as aside:
        _check(county, clock, dict.fromkeys(CHECK_SINKS, "memory:"), Path(aside))


def _files(sinks: tuple[str, ...], folder: Path) -> dict[str, str]:
    return {sink: str(folder / f"{sink.lower()}.gpkg") for sink in sinks}


def network_parameters(county: County, drains: str = "drains") -> dict[str, object]:
    return {
        "DRAINS": county.layer(drains), "STRUCTURES": county.layer("structures"), "JOIN_TOLERANCE": 0.25,
        "ACCEPT_PROPOSED": True,
    }


def surroundings(county: County) -> dict[str, object]:
    trees = [county.layer(name) for name in TREES]
    return {"GROUND": str(county.ground), "TREES": trees, "LAND": county.layer("land")}


def _build(county: County, clock: Clock, sinks: dict[str, str]) -> None:
    _run("buildnetwork", clock, {**network_parameters(county), **sinks})


def _check(county: County, clock: Clock, sinks: dict[str, str], aside: Path) -> None:
    report = {"REPORT": str(aside / "report.html")}
    _run("checkdrains", clock, {**network_parameters(county), **surroundings(county), **sinks, **report})


def _run(algorithm: str, clock: Clock, parameters: dict[str, object]) -> None:
    _warm(algorithm, parameters)
    clock.loaded()
    feedback = _Feedback()
    with clock("run"):
        results = processing.run(f"fallkeeper:{algorithm}", parameters, feedback=feedback)
    if feedback.errors:
        raise RuntimeError("\n".join(feedback.errors))
    clock.facts.update({key: value for key, value in results.items() if isinstance(value, (int, float))})


def _warm(algorithm: str, parameters: dict[str, object]) -> None:
    """Load the libraries, which QGIS does once a session: a run on two pipes without surroundings."""
    layer = QgsVectorLayer("LineString?crs=EPSG:26917", "two pipes", "memory")
    lines = ["LINESTRING (500000 4600000, 500000 4600080)", "LINESTRING (500000 4600040, 500040 4600040)"]
    features = []
    for line in lines:
        feature = QgsFeature()
        feature.setGeometry(QgsGeometry.fromWkt(line))
        features.append(feature)
    layer.dataProvider().addFeatures(features)
    outputs = {key: "memory:" for key in (*BUILD_SINKS, *CHECK_SINKS) if key in parameters}
    processing.run(f"fallkeeper:{algorithm}", {"DRAINS": layer, **outputs}, feedback=QgsProcessingFeedback(False))
