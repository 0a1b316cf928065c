"""From the layers of an archive in a project to a county that answers within a blink, with its findings if asked."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from qgis.core import QgsCoordinateTransformContext, QgsRasterLayer, QgsVectorLayer

from ..checks.again import check_again, why_other_settings
from ..checks.whole import Checked, Given, check_whole, network_of
from ..county import County
from ..county_update import update_county
from ..land.owners import LandMap
from ..limits import JOIN_TOLERANCE, Limits
from ..network.kept_rows import rows_of
from ..tables import Drains, Land, Shots, Structures, Trees
from ..units import Units
from .archive_info import ArchiveInfo
from .archive_place import drains_file
from .crs import complaint_about, unit_m, units_for
from .edits import read_edits
from .ground import RasterGround
from .project_layers import ASKED, TREES
from .read import Frame, read_layer
from .snapshot import Snapshot

_TABLES = {"drains": Drains, "structures": Structures, "shots": Shots, "land": Land}

Progress = Callable[[float], None]
Touched = Mapping[str, Collection[int]]


class NotLoadedError(Exception):
    """The layers cannot be used; the message says why and what to do."""


@dataclass(frozen=True)
class Loaded:
    """A county ready for questions, and what it was made of.

    `numbers`: of the features the rows of the drains came from; `unsaved`: which of them (a mask) are not saved as they
    are. `tables`: what was read, by layer. `land_map`: None without a layer of land. `unit_m`: metres a unit of the
    drains' CRS. `said`: what reading told. `checked`: the findings of this county, where they were asked for.
    """

    given: Given
    county: County
    numbers: np.ndarray
    unsaved: np.ndarray
    tables: dict[str, object]
    land_map: LandMap | None
    unit_m: float
    said: tuple[str, ...]
    checked: Checked | None = None

    @property
    def land(self) -> Land | None:
        return self.given.land


class Loader:
    """Made on the main thread from layers by their names in the schema; `load` runs in any one thread."""

    def __init__(
        self, layers: dict[str, QgsVectorLayer], transforms: QgsCoordinateTransformContext,
        ground: QgsRasterLayer | None = None, before: Loaded | None = None, touched: Touched | None = None,
        with_checks: bool = False, accept_proposed: bool = False, is_canceled: Callable[[], bool] = lambda: False,
    ) -> None:
        """`before`: what these layers gave last time. `touched`: by layer, the features that may be others since; a
        layer that is not named has to be read as a whole. `accept_proposed`: count proposed joints as real.

        Raises NotLoadedError where no length can be measured in the drains' CRS, LimitError for a bad limit,
        RasterError for a ground that cannot be used.
        """
        drains = layers["drains"]
        complaint = complaint_about(drains.crs(), drains.name())
        if complaint:
            raise NotLoadedError(complaint)
        archive = ArchiveInfo.beside(drains)
        self.units: Units = units_for("auto", drains.crs(), archive.units)
        self.limits = Limits(archive.limits, self.units.foot_m)
        self._frame = Frame(drains.crs(), transforms, self.units)
        self._before, self._touched = before, touched if before is not None and touched is not None else {}
        self._with_checks = with_checks or (before is not None and before.checked is not None)
        self._accept_proposed, self._is_canceled = accept_proposed, is_canceled
        self._file = drains_file(drains) if self._with_checks else ""
        wanted = ASKED if self._with_checks else tuple(_TABLES)
        self._snapshots = {name: Snapshot(layers[name]) for name in wanted if name in layers}
        self._sampler = self._ground_name = None
        if self._with_checks and ground is not None:
            self._sampler = RasterGround(ground, self._frame, is_canceled=is_canceled)
            self._ground_name = ground.name()

    def load(self, progress: Progress) -> Loaded:
        """Read what has to be read, build what has to be built, and warm up all that a click asks for.

        Raises NotLoadedError, RasterError; and when told to stop ReadCanceledError, SamplingCanceledError or
        CanceledError.
        """
        said: list[str] = []
        read = self._read(said.append, lambda share: progress(0.3 * share))
        given = self._given({name: table for name, (table, _) in read.items()})
        county, checked = self._county(given, lambda share: progress(0.3 + 0.6 * share))
        for figure in ("down", "served", "inflows"):  # what the first click would wait for
            getattr(county, figure)
        _ = county.network.line_index
        numbers = read["drains"][1]
        return Loaded(
            given, county, numbers, np.isin(numbers, self._snapshots["drains"].unsaved),
            {name: table for name, (table, _) in read.items()}, self._land_map(given.land), unit_m(self._frame.crs),
            tuple(said), checked,
        )

    def _county(self, given: Given, progress: Progress) -> tuple[County, Checked | None]:
        before = self._before
        if before is not None and before.checked is not None:
            checked = check_again(before.checked, given, progress, self._is_canceled)
            checked = Checked(given, checked.case, checked.results)  # of the way there nothing is kept
            return checked.case.county, checked
        if before is None or why_other_settings(before.given, given):
            network = network_of(given)
            county = County(network, self.limits, self.units)
        else:
            county = update_county(before.county, given.drains, given.structures, given.shots).county
        if not self._with_checks:
            return county, None
        checked = check_whole(given, progress=progress, is_canceled=self._is_canceled, network=county.network)
        return checked.case.county, checked

    def _given(self, tables: dict[str, object]) -> Given:
        if not len(tables["drains"]):
            raise NotLoadedError("The layer of drains holds no lines yet: draw or import some.")
        trees = [tables[name] for name in TREES if name in tables]
        return Given(
            **{name: tables[name] for name in _TABLES if name in tables},
            trees=Trees.together(trees) if trees else None,
            edits=read_edits(self._file, unit_m(self._frame.crs), self.units.length_m),
            sampler=self._sampler, ground_name=self._ground_name or "ground", limits=self.limits, units=self.units,
            tolerance_m=JOIN_TOLERANCE[self.units.system] * self.units.length_m,
            accept_proposed=self._accept_proposed,
        )

    def _read(self, say: Callable[[str], None], progress: Progress) -> dict[str, tuple[object, np.ndarray]]:
        """Table and numbers of the features by layer, as little as possible being read again."""
        found = {}
        for done, (name, snapshot) in enumerate(self._snapshots.items()):
            found[name] = self._table(name, snapshot, say)
            progress((done + 1) / len(self._snapshots))
        return found

    def _table(self, name: str, snapshot: Snapshot, say: Callable[[str], None]) -> tuple[object, np.ndarray]:
        known = self._before.tables.get(name) if name in self._touched else None
        touched = np.array(sorted(self._touched.get(name, ())), dtype=np.int64)
        if known is not None and not len(touched):
            return known, self._before.numbers
        if known is not None and name == "drains":
            fresh = self._fresh(name, snapshot.only(touched.tolist()), say)
            return _replaced((known, self._before.numbers), fresh, touched)
        return self._fresh(name, snapshot, say)

    def _fresh(self, name: str, snapshot: Snapshot, say: Callable[[str], None]) -> tuple[object, np.ndarray]:
        in_bulk = snapshot.plain_source if name == "drains" else ""
        layer = "trees" if name in TREES else name
        frame = read_layer(snapshot, layer, self._frame, None, self._is_canceled, in_bulk, say)
        return _TABLES.get(name, Trees).from_frame(frame), np.asarray(frame.index, dtype=np.int64)

    def _land_map(self, land: Land | None) -> LandMap | None:
        if land is None:
            return None
        same = self._before is not None and self._before.land is land
        return self._before.land_map if same else LandMap.of(land)


def _replaced(
    known: tuple[Drains, np.ndarray], fresh: tuple[Drains, np.ndarray], touched: np.ndarray
) -> tuple[Drains, np.ndarray]:
    """Drains without the rows of touched features, and those features as they are now."""
    stays = np.flatnonzero(~np.isin(known[1], touched))
    kept, more = rows_of(known[0], stays), fresh[0]
    columns = {c.name: np.concatenate([getattr(kept, c.name), getattr(more, c.name)]) for c in fields(kept)}
    return replace(kept, **columns), np.concatenate([known[1][stays], fresh[1]])
