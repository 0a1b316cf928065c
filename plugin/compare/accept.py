"""Taking lines of a layout into an archive: one transaction, one batch of the history, all or nothing.

The archive's other rows stay as they are. Every line of the layout is kept in `layout_lines`, with what it was found
to be and what was done with it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
import shapely

from ..elevation.sources import z_is_invert
from ..history.batch import archive_batch
from ..schema import layer
from ..schema.faults import ArchiveError
from ..units import Units
from .brought import Brought, BroughtRow, inner_levels, turned
from .classes import JOIN, REPLACE, TAKE
from .come_with import shots_with, structures_with
from .decide import Chosen
from .found import class_of
from .given import CompareCanceledError
from .judge import Comparison

KIND = "merge"
_OF_THE_SHAPE = ("invert_start", "invert_end", "depth_start", "depth_end", "position_error")
_NOT_BROUGHT = ("layout_id", "edited_by")


class ArchiveBatch(Protocol):
    """What a batch can do, wherever the archive lies: rows by layer and key (history/batch.py tells more)."""

    id: str

    def row(self, layer: str, key: str) -> Mapping[str, object] | None: ...

    def insert(self, layer: str, values: Mapping[str, object], shape: bytes | None = None) -> str: ...

    def update(self, layer: str, key: str, values: Mapping[str, object], shape: bytes | None = None) -> None: ...


@dataclass(frozen=True)
class Accepted:
    """What was written: the batch that undo takes back, the layouts, and the keys of the drains."""

    batch: str
    layout_ids: tuple[str, ...]
    taken: tuple[str, ...]
    redrawn: tuple[str, ...]
    joints: int
    structures: int
    shots: int


def accept_layout(
    path: Path, compared: Comparison, chosen: Chosen, brought: Brought, plan_unit_m: float, archive_units: Units,
    why: str, who: str = "",
) -> Accepted:
    """Write the chosen lines into the file of an archive; `plan_unit_m`: metres of the unit of the archive's plan.

    Raises ArchiveError, after which the file is as it was, and CompareCanceledError.
    """
    with archive_batch(path, KIND, why, who) as batch:
        return accept_into(batch, compared, chosen, brought, plan_unit_m, archive_units)


def accept_into(
    batch: ArchiveBatch, compared: Comparison, chosen: Chosen, brought: Brought, plan_unit_m: float,
    archive_units: Units,
) -> Accepted:
    """Write the chosen lines into a batch, which is of a file or of a database. Raises as `accept_layout`."""
    accepted = _Writing(batch, compared, chosen, brought, plan_unit_m, archive_units).write()
    if compared.settings.is_canceled():
        raise CompareCanceledError
    return accepted


class _Writing:
    """Writes into one batch."""

    def __init__(
        self, batch: ArchiveBatch, compared: Comparison, chosen: Chosen, brought: Brought, unit_m: float, units: Units
    ) -> None:
        self._batch, self._compared, self._chosen, self._brought = batch, compared, chosen, brought
        self._unit_m, self._units = unit_m, units
        self._layout_ids = brought.layout_ids()
        self._key_of: dict[int, str] = {}

    def write(self) -> Accepted:
        for layout_id in dict.fromkeys(self._layout_ids):
            if self._batch.row("layouts", layout_id) is None:
                self._batch.insert("layouts", self._brought.about(layout_id))
        for row in self._chosen.rows(TAKE, JOIN).tolist():
            with _about(self._compared, row):
                self._key_of[row] = self._take(row)
        for row in self._chosen.rows(REPLACE).tolist():
            with _about(self._compared, row):
                self._key_of[row] = self._redraw(row)
        joints = self._joints()
        structures, shots = self._structures(), self._shots()
        self._keep_lines()
        return Accepted(
            self._batch.id, tuple(dict.fromkeys(self._layout_ids)),
            tuple(self._key_of[row] for row in self._chosen.rows(TAKE, JOIN).tolist()),
            tuple(self._key_of[row] for row in self._chosen.rows(REPLACE).tolist()), joints, structures, shots,
        )

    def _take(self, row: int) -> str:
        return self._batch.insert("drains", self._values(row), self._shape(row))

    def _redraw(self, row: int) -> str:
        """Known facts replace those of the archive; where the shape is another, so do unknown levels of its ends."""
        compared, target = self._compared, int(self._compared.redraws[row])
        key = str(compared.archive.drains.drain_id[target])
        values = {name: value for name, value in self._values(row).items() if name not in ("drain_id", "name")}
        if compared.drawn.same_shape[row] == target:
            self._batch.update("drains", key, values)
            return key
        self._batch.update("drains", key, {**dict.fromkeys(_OF_THE_SHAPE), **values}, self._shape(row))
        return key

    def _values(self, row: int) -> dict[str, object]:
        """What is known of a line, by field of the archive."""
        brought = self._brought.drains[row].values
        brought = turned(brought) if self._compared.turned[row] else brought
        values = {name: value for name, value in brought.items() if value is not None and name not in _NOT_BROUGHT}
        for end, z in zip(("invert_start", "invert_end"), self._levels(row)[:2]):
            if end not in values and z == z:
                values[end] = z / self._units.length_m
        return {**values, "layout_id": self._layout_ids[row]}

    def _shape(self, row: int) -> bytes:
        """As brought; parts that follow each other as one line."""
        shape = self._brought.drains[row].shape
        if shape is not None:
            return shape
        drawn = shapely.force_2d(self._compared.layout.drains.geometry[row])
        return bytes(shapely.to_wkb(shapely.transform(drawn, lambda xy: xy / self._unit_m)))

    def _levels(self, row: int) -> tuple[float, float, list[tuple[float, float, float]]]:
        """Drawn heights of a line whose heights are inverts, by the same rule as everywhere."""
        drains = self._compared.layout.drains
        shape = drains.geometry[row]
        if not shapely.has_z(shape) or not z_is_invert(drains.located_by[[row]])[0]:
            return float("nan"), float("nan"), []
        return inner_levels(shape, self._unit_m)

    def _joints(self) -> int:
        """A structure of kind joint at every joint that is accepted."""
        rows = self._chosen.rows(JOIN)
        rows = rows[np.isfinite(self._compared.joints_xy_m[rows]).all(axis=1)]
        for row in rows.tolist():
            xy = self._compared.joints_xy_m[row] / self._unit_m
            note = f"Joint of {self._key_of[row]}, accepted with its layout."
            self._batch.insert("structures", {"kind": "joint", "evidence": "drawn", "note": note}, _point(xy))
        return len(rows)

    def _structures(self) -> int:
        compared = self._compared
        rows = structures_with(
            compared.archive, compared.layout, self._chosen.accepted, compared.settings.tolerance_m
        )
        return sum(self._insert("structures", self._brought.structures[row]) for row in rows.tolist())

    def _shots(self) -> int:
        """Level shots of the lines, and heights drawn along them."""
        compared = self._compared
        named = {str(compared.layout.drains.drain_id[row]): key for row, key in self._key_of.items()}
        count = 0
        for row in shots_with(compared.layout, self._chosen.accepted, compared.settings.tolerance_m).tolist():
            shot = self._brought.shots[row]
            drain = shot.values.get("drain_id")
            count += self._insert("shots", shot, drain_id=None if drain is None else named.get(str(drain), drain))
        for row in self._chosen.accepted.tolist():
            for x, y, z in self._levels(row)[2]:
                values = {"drain_id": self._key_of[row], "elevation": z / self._units.length_m, "of": "invert"}
                self._batch.insert("shots", values, _point((x, y)))
                count += 1
        return count

    def _insert(self, name: str, row: BroughtRow, **values: object) -> int:
        """A row that comes with the lines; one whose key the archive has already is there already."""
        key = layer(name).key.name
        known = {one: value for one, value in row.values.items() if value is not None and one not in _NOT_BROUGHT}
        if known.get(key) is not None and self._batch.row(name, str(known[key])) is not None:
            return 0
        self._batch.insert(name, {**known, **values}, row.shape)
        return 1

    def _keep_lines(self) -> None:
        """All lines of the layout, or what has changed about those kept before."""
        drains, classes = self._compared.layout.drains, class_of(self._compared.kind)
        for row, brought in enumerate(self._brought.drains):
            key = f"{self._layout_ids[row]}/{brought.number}"
            values = {
                "layout_id": self._layout_ids[row],
                "brought_as": None if drains.id_missing[row] else str(drains.drain_id[row]),
                "class": str(classes[row]),
                "done": self._chosen.done[row] or None,
                "drain_id": self._key_of.get(row),
                "source": brought.source,
            }
            before = self._batch.row("layout_lines", key)
            shape = brought.shape
            if before is None:
                self._batch.insert("layout_lines", {"layout_line_id": key, **values}, shape)
                continue
            if values["done"] is None:  # what was taken before stays taken
                values = {name: value for name, value in values.items() if name not in ("done", "drain_id", "class")}
            changed = {name: value for name, value in values.items() if before[name] != value}
            if changed:
                self._batch.update("layout_lines", key, changed, shape if "source" in changed else None)


@contextmanager
def _about(compared: Comparison, row: int) -> Iterator[None]:
    """Says which line the archive refused."""
    try:
        yield
    except ArchiveError as fault:
        raise ArchiveError(f"Line '{compared.layout.drains.drain_id[row]}' of the layout: {fault}") from fault
    except sqlite3.IntegrityError as fault:
        raise ArchiveError(
            f"Line '{compared.layout.drains.drain_id[row]}' of the layout was refused, nothing was changed: {fault}"
        ) from fault


def _point(xy: object) -> bytes:
    return bytes(shapely.to_wkb(shapely.Point(*xy)))
