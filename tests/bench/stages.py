"""The engine by itself, stage by stage, on layers read through the plugin's own readers."""

from __future__ import annotations

import cProfile
import pstats
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FunctionType, ModuleType

import geopandas
import numpy as np
import pandas
from county import ROOT, County
from fallkeeper.plugin import result_tables
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.catalogue import CHECKS
from fallkeeper.plugin.checks.run import Findings, run_checks
from fallkeeper.plugin.county import County as NetworkCounty
from fallkeeper.plugin.elevation.ground import GroundProfile, sample_lines
from fallkeeper.plugin.land.notices import Owners, owner_shares
from fallkeeper.plugin.land.owners import LandMap, split_by_land
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network import build
from fallkeeper.plugin.network.by_ground import flow_by_ground
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.network.network import Network
from fallkeeper.plugin.qgis_layer.arrow import is_plain
from fallkeeper.plugin.qgis_layer.fields import make_fields
from fallkeeper.plugin.qgis_layer.geopackage import fill
from fallkeeper.plugin.qgis_layer.ground import RasterGround
from fallkeeper.plugin.qgis_layer.read import Frame, read_layer
from fallkeeper.plugin.tables import Drains, Land, Structures, Trees
from fallkeeper.plugin.units import Units
from fallkeeper.processing_algs.write_results import finding_rows
from measure import Clock
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransformContext,
    QgsRasterLayer,
    QgsVectorFileWriter,
    QgsVectorLayer,
    QgsWkbTypes,
)

TOLERANCE_M = 0.25
UNITS = Units("metric")
MOST_FUNCTIONS = 20


def layer_of(county: County, name: str) -> QgsVectorLayer:
    layer = QgsVectorLayer(county.layer(name), name, "ogr")
    if not layer.isValid():
        raise RuntimeError(f"The county {county.folder} has no layer {name}: delete the folder and start again.")
    return layer


def frame_of(layer: QgsVectorLayer) -> Frame:
    return Frame(layer.crs(), QgsCoordinateTransformContext(), UNITS)


def read(county: County, name: str) -> geopandas.GeoDataFrame:
    """A layer as the plugin reads it, drains in bulk where it can; `drains_multi` stands for drains."""
    layer, stands_for = layer_of(county, name), name.partition("_multi")[0]
    in_bulk = layer.source() if stands_for == "drains" and is_plain(layer) else ""
    return read_layer(layer, stands_for, frame_of(layer), plain_source=in_bulk)


def read_drains(county: County, name: str = "drains") -> tuple[Drains, Structures]:
    return Drains.from_frame(read(county, name)), Structures.from_frame(read(county, "structures"))


def read_surroundings(county: County) -> tuple[Trees, Land]:
    trees = pandas.concat([read(county, name) for name in ("tree_rows", "woods")])
    return Trees.from_frame(trees), Land.from_frame(read(county, "land"))


def build_network(drains: Drains, structures: Structures) -> Network:
    return build.build_network(drains, structures, tolerance_m=TOLERANCE_M, accept_proposed=True)


def sampler(county: County) -> RasterGround:
    layer = QgsRasterLayer(str(county.ground), "ground", "gdal")
    return RasterGround(layer, frame_of(layer_of(county, "drains")))


def ground_along(county: County, network: Network, limits: Limits) -> GroundProfile:
    return sample_lines(network.lines, sampler(county), limits["ground_step"], network.active)


def drained_county(network: Network, limits: Limits, ground: GroundProfile) -> NetworkCounty:
    """The county with its ground, flow taken from there where nothing else tells."""
    county = NetworkCounty(network, limits, UNITS, ground)
    by_ground = flow_by_ground(network, county.evidence)
    return county if by_ground is network else NetworkCounty(by_ground, limits, UNITS, ground)


def engine(county: County, clock: Clock) -> None:
    """Read, build, sum, sample the ground, make every check, write what was found, share the land out by owner."""
    limits = Limits()
    clock.loaded()
    with clock("read"):
        drains, structures = read_drains(county)
    with clock("build"), _by_module(build) as parts:
        network = build_network(drains, structures)
    clock.facts["build_parts"] = parts
    with clock("elevations"):
        ground = ground_along(county, network, limits)
    with clock("flow by ground"):
        drained = drained_county(network, limits, ground)
    with clock("read trees and land"):
        trees, land = read_surroundings(county)
    case = Case(drained, trees, land)
    found = _sums_and_checks(case, clock)
    with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_") as aside, clock("write findings"):
        _write(case, found, layer_of(county, "drains").crs(), Path(aside))
    with clock("land by owner"):
        by_owner = _land_by_owner(case, land)
    clock.facts.update(
        drains=len(drains), lines=len(network.lines), pieces=len(network.pieces), systems=network.system_count,
        samples=len(ground), findings=len(found), found={check.id: len(found.of(check.id)) for check in CHECKS},
        owned_share=float(by_owner / case.county.served.area_m2.sum()),
    )


@contextmanager
def _by_module(module: ModuleType) -> Iterator[dict[str, float]]:
    """Seconds that functions of other modules take when `module` calls them, by the module they come from."""
    parts: dict[str, float] = {}
    own = {name: value for name, value in vars(module).items() if isinstance(value, FunctionType)}
    taken = {name: value for name, value in own.items() if value.__module__ != module.__name__}
    for name, function in taken.items():
        setattr(module, name, _timed(function, parts))
    try:
        yield parts
    finally:
        for name, function in taken.items():
            setattr(module, name, function)


def _timed(function: FunctionType, parts: dict[str, float]) -> FunctionType:
    part = function.__module__.rpartition(".")[2]

    def call(*args: object, **more: object) -> object:
        began = time.perf_counter()
        try:
            return function(*args, **more)
        finally:
            parts[part] = parts.get(part, 0.0) + time.perf_counter() - began

    return call


def _sums_and_checks(case: Case, clock: Clock) -> Findings:
    """What several checks share comes first, so that each check is charged with its own work."""
    for stage, owner, figures in (
        ("accumulate", case.county, ("down", "length_above_m")),
        ("evidence and grades", case.county, ("grades", "piece_grades")),
        ("cover", case, ("cover",)),
    ):
        with clock(stage):
            for figure in figures:
                getattr(owner, figure)
    made = iter(CHECKS)
    clock.mark()
    results = run_checks(case, CHECKS, lambda share: clock.lap(f"check {next(made).id}"))
    clock.lap("gather findings")
    if results.crashed:
        raise RuntimeError(results.crashed[0].trace)
    return results.findings


def _write(case: Case, findings: Findings, crs: QgsCoordinateReferenceSystem, folder: Path) -> None:
    """Findings on pipe and at places, to a GeoPackage each."""
    fields = make_fields(result_tables.FINDINGS)
    options = QgsVectorFileWriter.SaveVectorOptions()
    options.driverName = "GPKG"
    for name, place, kind in (("pipe", False, QgsWkbTypes.Type.LineString), ("place", True, QgsWkbTypes.Type.Point)):
        path, chosen = folder / f"{name}.gpkg", np.flatnonzero(findings.place == place)
        made = QgsVectorFileWriter.create(str(path), fields, kind, crs, QgsCoordinateTransformContext(), options)
        del made  # closes the file
        fill(path, finding_rows(case.county, findings, chosen), 1.0, lambda share: None, lambda: False)


def _land_by_owner(case: Case, land: Land) -> float:
    """Served land of all lines, divided by owner; the sum over the owners."""
    served, lines = case.county.served, case.network.lines
    every = np.arange(len(lines))
    shares = split_by_land(served, every, np.zeros(len(lines)), lines.length_m, LandMap.of(land))
    owner = Owners.of(land).of_rows(shares.land)
    return float(owner_shares(owner, shares.area_m2).area_m2.sum())


def elevations_in_any_order(county: County, clock: Clock) -> None:
    """The ground along all lines, as they lie in the file and shuffled."""
    drains, _ = read_drains(county)
    step = Limits()["ground_step"]
    ordered, _ = explode(drains.geometry)
    mixed, _ = explode(drains.geometry[np.random.default_rng(0).permutation(len(drains))])
    clock.loaded()
    for stage, lines in (("as they lie", ordered), ("shuffled", mixed)):
        with clock(stage):
            sample_lines(lines, sampler(county), step, np.ones(len(lines), dtype=bool))


def profile(county: County, clock: Clock) -> None:
    """Functions in which the main thread of `engine` spends most time: name, calls, own seconds, with those called."""
    profiler = cProfile.Profile()
    profiler.runcall(engine, county, Clock())
    by_own = sorted(pstats.Stats(profiler).stats.items(), key=lambda item: -item[1][2])
    clock.facts["profile"] = [
        (_function(*place), calls, own, whole) for place, (_, calls, own, whole, _) in by_own[:MOST_FUNCTIONS]
    ]


def _function(file: str, line: int, name: str) -> str:
    """A function of the project by its path, one of a library by its last folder and file."""
    path = Path(file)
    if path.is_relative_to(ROOT) and ".venv" not in path.parts:
        return f"{path.relative_to(ROOT).as_posix()} {name}"
    return name if file == "~" else f"{path.parent.name}/{path.name} {name}"
