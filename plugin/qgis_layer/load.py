"""From the layers of an archive in a project to a county that answers within a blink."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from qgis.core import QgsCoordinateTransformContext, QgsVectorLayer

from ..county import County
from ..land.owners import LandMap
from ..limits import Limits
from ..network.build import build_network
from ..tables import Drains, Land, Shots, Structures
from ..units import US, Units
from .archive_info import ArchiveInfo
from .crs import complaint_about, unit_m, units_for
from .read import Frame, read_layer
from .snapshot import Snapshot

_READ = ("drains", "structures", "shots", "land")
_TOLERANCE = {US: 1.0}
_TOLERANCE_METRIC = 0.3


class NotLoadedError(Exception):
    """The layers cannot be used; the message says why and what to do."""


@dataclass(frozen=True)
class Loaded:
    """A county ready for questions, the land with its map (None without a layer of land), and what was said on the way.

    `unit_m`: metres a unit of the drains' CRS.
    """

    county: County
    land: Land | None
    land_map: LandMap | None
    unit_m: float
    said: tuple[str, ...]


class Loader:
    """Made on the main thread from layers by their names in the schema; `load` runs in any one thread."""

    def __init__(self, layers: dict[str, QgsVectorLayer], transforms: QgsCoordinateTransformContext) -> None:
        """Raises NotLoadedError where no length can be measured in the drains' CRS, LimitError for a bad limit."""
        drains = layers["drains"]
        complaint = complaint_about(drains.crs(), drains.name())
        if complaint:
            raise NotLoadedError(complaint)
        self.archive = ArchiveInfo.beside(drains)
        self.units: Units = units_for("auto", drains.crs(), self.archive.units)
        self.limits = Limits(self.archive.limits, self.units.foot_m)
        self._frame = Frame(drains.crs(), transforms, self.units)
        self._snapshots = {name: Snapshot(layers[name]) for name in _READ if name in layers}

    @property
    def tolerance_m(self) -> float:
        return _TOLERANCE.get(self.units.system, _TOLERANCE_METRIC) * self.units.length_m

    def load(self, progress: Callable[[float], None], is_canceled: Callable[[], bool]) -> Loaded:
        """Read, build and warm up all that a click asks for. Raises ReadCanceledError, NotLoadedError."""
        said: list[str] = []
        frames = {}
        for done, (name, snapshot) in enumerate(self._snapshots.items()):
            in_bulk = snapshot.plain_source if name == "drains" else ""
            frames[name] = read_layer(snapshot, name, self._frame, None, is_canceled, in_bulk, said.append)
            progress(0.3 * (done + 1) / len(self._snapshots))
        if not len(frames["drains"]):
            raise NotLoadedError("The layer of drains holds no lines yet: draw or import some.")
        network = build_network(
            Drains.from_frame(frames["drains"]),
            Structures.from_frame(frames["structures"]) if "structures" in frames else None,
            Shots.from_frame(frames["shots"]) if "shots" in frames else None,
            limits=self.limits,
            tolerance_m=self.tolerance_m,
        )
        progress(0.7)
        county = County(network, self.limits, self.units)
        for figure in ("down", "served", "inflows"):  # what the first click would wait for
            getattr(county, figure)
        _ = network.line_index
        land = Land.from_frame(frames["land"]) if "land" in frames else None
        progress(0.9)
        return Loaded(county, land, None if land is None else LandMap.of(land), unit_m(self._frame.crs), tuple(said))
