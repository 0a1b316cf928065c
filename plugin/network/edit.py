"""What an edit changed, and how far it reaches into a network."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas
import shapely

from ..tables import Drains, Shots, Structures
from .kept_rows import KeptRows, kept_rows
from .lines import Lines, explode
from .near import near_any
from .neighbourhood import nameless, reach_of
from .network import Network


@dataclass(frozen=True)
class Rows:
    """Rows now of drains, structures and level shots."""

    drains: np.ndarray
    structures: np.ndarray
    shots: np.ndarray


@dataclass(frozen=True)
class Edit:
    """The tables now beside the network as it was; `redrawn`: lines of the changed drains as they are now."""

    old: Network
    drains: Drains
    structures: Structures
    shots: Shots
    kept_drains: KeptRows
    kept_structures: KeptRows
    kept_shots: KeptRows
    redrawn: Lines

    @classmethod
    def between(cls, old: Network, drains: Drains, structures: Structures, shots: Shots) -> Edit:
        kept = kept_rows(old.drains, drains, "drain_id")
        return cls(
            old, drains, structures, shots, kept,
            kept_rows(old.structures, structures, "structure_id"), kept_rows(old.shots, shots, "shot_id"),
            explode(drains.geometry[kept.changed])[0],
        )

    @property
    def _reach_m(self) -> float:
        return reach_of(self.old.tolerance_m, self.old.limits)

    def touched_lines(self) -> np.ndarray:
        """Which lines of the old network have to do with what changed: those that changed or went, those that lie near
        them or have a point or a key in common with them, and all that hangs together with any of these."""
        lines, keys = self.old.lines, self.old.drains.drain_id
        first = (self.kept_drains.now < 0)[lines.drain]
        first |= near_any(lines.geometry, np.concatenate([self.redrawn.geometry, *self._points()]), self._reach_m)
        first |= _among(keys, self._keys())[lines.drain]
        number = self.old.neighbourhood
        touched = np.zeros(int(number.max(initial=-1)) + 1, dtype=bool)
        touched[number[first]] = True
        return touched[number]

    def _points(self) -> Iterator[np.ndarray]:
        """Structures and shots that changed, before and now, and those near redrawn lines: they may reach others."""
        old = self.old
        for before, now, kept in (
            (old.structures, self.structures, self.kept_structures), (old.shots, self.shots, self.kept_shots),
        ):
            point = shapely.points(now.xy_m)
            near = near_any(point, self.redrawn.geometry, self._reach_m)
            near[kept.changed] = True
            yield point[near]
            yield shapely.points(before.xy_m[kept.gone])

    def _keys(self) -> np.ndarray:
        """Keys of drains that changed, before and now, and those that changed shots name or named."""
        old = self.old
        return np.concatenate([
            old.drains.drain_id[self.kept_drains.gone], self.drains.drain_id[self.kept_drains.changed],
            old.shots.drain_id[self.kept_shots.gone], self.shots.drain_id[self.kept_shots.changed],
        ])

    def rows_to_build(self, touched: np.ndarray) -> Rows:
        """All rows now that belong to the touched lines or are new: a layer of its own, whole in itself."""
        old = self.old
        keys = np.concatenate([self._keys(), old.drains.drain_id[np.unique(old.lines.drain[touched])]])
        now = self.kept_drains.now[_among(old.drains.drain_id, keys)]  # those without a line, too
        drains = np.union1d(self.kept_drains.changed, now[now >= 0])
        around = np.concatenate([old.lines.geometry[touched], self.redrawn.geometry])
        structures = near_any(shapely.points(self.structures.xy_m), around, self._reach_m)
        structures[self.kept_structures.changed] = True
        shots = nameless(self.shots) & near_any(shapely.points(self.shots.xy_m), around, self._reach_m)
        shots |= _among(self.shots.drain_id, keys)
        shots[self.kept_shots.changed] = True
        return Rows(drains, np.flatnonzero(structures), np.flatnonzero(shots))


def _among(keys: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Which keys are among the wanted ones; an unknown key never is."""
    known = wanted[~np.equal(wanted, None)]
    if not len(known):
        return np.zeros(len(keys), dtype=bool)
    return pandas.Series(keys, dtype=object).isin(known).to_numpy()
