"""Networks as they would be with some lines of a layout: the touched part of the archive, built anew.

Drains of the archive keep their rows; those of the layout come after them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from ..county import County
from ..network.build import build_network
from ..network.kept_rows import rows_of
from ..network.network import Network
from ..tables import Drains, Structures
from .come_with import shots_with, structures_with
from .given import Archive, CompareCanceledError, Layout, Settings, together
from .outlets import Drained
from .touched import Touched

# what holds for the drawn line as a whole is the layout's, also where it is unknown
_OF_THE_SHAPE = ("geometry", "invert_start_m", "invert_end_m", "depth_start_m", "depth_end_m")
_KEPT = ("drain_id", "id_missing", "name")


@dataclass(frozen=True)
class Trial:
    """A network with lines of the layout in it: `new` are their rows in the layout, in the order of the drains after
    those of the archive; `redrawn`, `by`: drains (rows here) that are drawn as lines of the layout say (rows there)."""

    drained: Drained
    new: np.ndarray
    redrawn: np.ndarray
    by: np.ndarray

    @property
    def network(self) -> Network:
        return self.drained.county.network

    @property
    def of_archive(self) -> int:
        """Number of drains that are the archive's."""
        return len(self.network.drains) - len(self.new)

    def layout_row(self) -> np.ndarray:
        """By drain here: the row of the layout that it is drawn after; -1 for a drain as the archive has it."""
        row = np.full(len(self.network.drains), -1, dtype=np.int64)
        row[self.redrawn] = self.by
        row[self.of_archive :] = self.new
        return row


def build_trial(
    archive: Archive, touched: Touched, layout: Layout, new: np.ndarray, redraws: np.ndarray, same_shape: np.ndarray,
    joints_xy_m: np.ndarray, settings: Settings,
) -> Trial:
    """Build with the lines `new`; `redraws` holds, by row of the layout, the row of the archive it redraws, or -1,
    `same_shape` the row of the archive that is drawn alike.

    At `joints_xy_m` joints count as confirmed. Structures and shots of the layout come with its lines.
    """
    if settings.is_canceled():
        raise CompareCanceledError
    by = np.flatnonzero(redraws >= 0)
    place = np.searchsorted(touched.rows, redraws[by])
    alike = same_shape[by] == redraws[by]
    taken = np.union1d(new, by).astype(np.int64)
    own = structures_with(archive, layout, taken, settings.tolerance_m)
    shots = shots_with(layout, taken, settings.tolerance_m)
    structures = together(touched.structures, rows_of(layout.structures, own))
    network = build_network(
        together(_redrawn(touched.drains, layout.drains, place, by, alike), rows_of(layout.drains, new)),
        together(structures, _joints(joints_xy_m)),
        together(touched.shots, rows_of(layout.shots, shots)),
        limits=settings.limits,
        tolerance_m=settings.tolerance_m,
        accept_proposed=settings.accept_proposed,
        outlet_elsewhere=touched.outlet_elsewhere,
    )
    return Trial(Drained(County(network, settings.limits, settings.units)), np.asarray(new), place, by)


def _redrawn(drains: Drains, layout: Drains, place: np.ndarray, by: np.ndarray, alike: np.ndarray) -> Drains:
    """Drains with the facts of the layout in some rows; what it does not know stays, but for what went with a shape
    that is not `alike`."""
    columns = {}
    for column in fields(drains):
        own, given = getattr(drains, column.name).copy(), getattr(layout, column.name)[by]
        if column.name in _KEPT:
            continue
        known = np.isfinite(given) if given.dtype.kind == "f" else ~np.equal(given, None)
        if column.name in _OF_THE_SHAPE:
            known |= ~alike
        own[place[known]] = given[known]
        columns[column.name] = own
    return replace(drains, **columns)


def _joints(xy_m: np.ndarray) -> Structures:
    count = len(xy_m)

    def same(value: object) -> np.ndarray:
        column = np.empty(count, dtype=object)
        column[:] = value
        return column

    unknown = np.full(count, np.nan)
    return Structures(
        xy_m=np.asarray(xy_m, dtype=float).reshape(-1, 2), structure_id=same("joint"), name=same("joint"),
        kind=same("joint"), evidence=same("drawn"), guard=same(None), receiving_water=same(None), invert_m=unknown,
        flow_m3_s=unknown, water_level_m=unknown, bed_level_m=unknown,
    )
