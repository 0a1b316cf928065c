"""Joints that somebody has settled: structures of kind joint.

Seen, probed or drawn: all pipe within the tolerance of the structure joins there. Disproved: nothing
joins there, and it is no longer asked about. Of evidence assumed or unknown: nothing changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..tables import Structures
from .joints import Crossings, Joints, end_xy
from .lines import Lines
from .near import LineIndex, near_any
from .nearest import nearest_places
from .pieces import Places

CONFIRMED = ("seen", "probed", "drawn")


@dataclass(frozen=True)
class Settled:
    """`places`: places on lines that meet at confirmed joints; the points of confirmed and disproved joints."""

    places: Places
    confirmed_xy: np.ndarray
    disproved_xy: np.ndarray
    tolerance_m: float

    def apply(
        self, lines: Lines, made: Joints, proposed: Joints, crossings: Crossings
    ) -> tuple[Joints, Joints, Crossings, np.ndarray]:
        """Joints, proposals and crossings without what is settled, and which proposals are confirmed."""
        if not len(self.confirmed_xy) and not len(self.disproved_xy):
            return made, proposed, crossings, np.zeros(len(proposed), dtype=bool)
        xy = end_xy(lines)
        made = made.where(~self._near(self.disproved_xy, xy[made.end]))
        place = lines.points_at(proposed.other, proposed.at_m)
        apart = self._near(self.disproved_xy, xy[proposed.end]) | self._near(self.disproved_xy, place)
        proposed, place = proposed.where(~apart), place[~apart]
        confirmed = self._near(self.confirmed_xy, xy[proposed.end]) | self._near(self.confirmed_xy, place)
        open_crossing = ~(self._near(self.disproved_xy, crossings.xy) | self._near(self.confirmed_xy, crossings.xy))
        return made, proposed, crossings.where(open_crossing), confirmed

    def _near(self, centres: np.ndarray, xy: np.ndarray) -> np.ndarray:
        return near_any(shapely.points(xy), shapely.points(centres), self.tolerance_m)


def settle_joints(lines: Lines, index: LineIndex, structures: Structures, tolerance_m: float) -> Settled:
    """Read the structures of kind joint."""
    joint = structures.kind == "joint"
    confirmed = np.flatnonzero(joint & np.isin(structures.evidence.astype(str), CONFIRMED))
    disproved = joint & (structures.evidence == "disproved")
    query, line = index.within(structures.xy_m[confirmed], tolerance_m)
    xy = structures.xy_m[confirmed[query]]
    at, _ = nearest_places(lines, line, xy)
    for k, place in ((0, np.zeros(len(line))), (1, lines.length_m[line])):
        at = np.where(np.hypot(*(end_xy(lines)[2 * line + k] - xy).T) <= tolerance_m, place, at)
    return Settled(Places(line, at, query), structures.xy_m[confirmed], structures.xy_m[disproved], tolerance_m)
