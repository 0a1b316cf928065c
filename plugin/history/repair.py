"""Records a repair: a stretch of a drain is replaced by new pipe, and the old stretch stays on the map.

The drain is cut at two stations. The longer of what is left of it keeps its key, the other parts and the new pipe get
the next free ones after it (A-1: A-1.2, A-1.3); shots, repairs and accepted findings of the drain name the part they
lie on from then on. All of it is one batch.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from ..schema.faults import ArchiveError
from ..schema.history import GEOMETRY
from .batch import Batch, archive_batch
from .blobs import Place, line_places, line_wkb, point_wkb
from .file import open_archive, told_plainly
from .neighbours import drain_under, left_behind, move_names
from .parts import Part, assumed_words, ends_of, free_keys, parts_of
from .past import Row
from .repair_place import RepairPlace, place_of_repair
from .stretches import Way


@dataclass(frozen=True)
class Repair:
    """What was done, in the units of the archive; stations along the drawn line of the drain, from its first point.

    Its place is told by two stations, by two `points` (in coordinates; the nearest places on the drain count, and
    `drain_id` may be left empty), or by the line of the new pipe, `route`, whose ends must lie on the drain. Without
    `route` the new pipe lies where the old one lay. `invert_from` and `invert_to` were measured on the new pipe at the
    first and the last of these places; None: interpolated along the old pipe. `old_status` is abandoned or removed.
    What is None is unknown.
    """

    drain_id: str
    done_on: datetime.date
    points: tuple[Place, Place] | None = None
    station_from: float | None = None
    station_to: float | None = None
    route: Sequence[Place] | None = None
    invert_from: float | None = None
    invert_to: float | None = None
    invert_error: float | None = None
    diameter: float | None = None
    material: str | None = None
    openings: str | None = None
    located_by: str | None = None
    old_status: str = "abandoned"
    found: str | None = None
    done: str | None = None
    photo: str | None = None
    call_id: str | None = None


@dataclass(frozen=True)
class Recorded:
    """What was written: keys of the row of the repair, of the new and the old pipe and of what is left of the drain;
    the length of the new pipe; drains that end on the old stretch and on nothing that takes its place, and drains that
    cross the new pipe without ending on it."""

    batch: str
    repair_id: str
    new: str
    old: str
    left: tuple[str, ...]
    length: float
    left_behind: tuple[str, ...]
    crossed: tuple[str, ...]
    put_back: list[str] = field(default_factory=list)


def record_repair(
    path: Path, repair: Repair, tolerance: float, reach: float, unit: float = 1.0, who: str = ""
) -> Recorded:
    """Write a repair into the archive at `path`, in one batch.

    `unit`: size of the archive's unit of length in the unit of its coordinates. In the archive's unit: `tolerance`, how
    far from the drain the ends of the route may lie, and what is no length; `reach`, how far the two points may.
    ArchiveError with a sentence.
    """
    if not repair.drain_id:
        with closing(open_archive(path)) as connection, told_plainly(path):
            repair = replace(repair, drain_id=drain_under(connection, repair.route, repair.points, reach * unit, path))
    with archive_batch(path, "repair", _why(repair), who) as batch:
        drain = _drain(batch, repair)
        way = Way(line_places(drain[GEOMETRY]))
        place = place_of_repair(repair, way, tolerance, reach, unit)
        keys = free_keys(batch.connection, "drains", repair.drain_id)
        parts = parts_of(repair.drain_id, way.length, place.start, place.end, keys)
        base = f"{repair.drain_id} {repair.done_on}"
        written = _Writing(batch, repair, drain, way, place, parts, next(keys),
                           next(free_keys(batch.connection, "repairs", base, itself=True)))
        written.write_parts()
        written.write_new()
        move_names(batch, repair.drain_id, way, parts, unit)
        length = written.new_way.length / unit
        written.write_repair(length)
        behind, crossed = left_behind(batch, way, parts, written.new_way, written.new_key, tolerance * unit)
    left = tuple(part.key for part in parts if not part.is_old)
    return Recorded(batch.id, written.repair_id, written.new_key, written.old.key, left, length, behind, crossed,
                    batch.put_back)


@dataclass(frozen=True)
class _Writing:
    batch: Batch
    repair: Repair
    drain: Row
    way: Way
    place: RepairPlace
    parts: list[Part]
    new_key: str
    repair_id: str

    @property
    def old(self) -> Part:
        return next(part for part in self.parts if part.is_old)

    @property
    def new_way(self) -> Way:
        return Way(self.place.new_pipe)

    def write_parts(self) -> None:
        """The row of the drain becomes one of the parts, the others are added; each says where it comes from."""
        for part in self.parts:
            ends = ends_of(self.drain, self.way.length, part, {} if part.is_old else self.place.measured)
            words = f"Cut from {self.repair.drain_id} on {self.repair.done_on} (repair {self.repair_id})"
            values = dict(ends.values)
            if part.is_old:
                last_day = self.repair.done_on - datetime.timedelta(days=1)
                values.update(status=self.repair.old_status, in_ground_to=last_day, replaced_by=self.new_key)
                words += f", replaced by {self.new_key}"
            words += assumed_words(ends.assumed, "interpolated between the ends of the old line")
            values["note"] = "\n".join(filter(None, (self.drain["note"], f"{words}.")))
            shape = line_wkb(self.way.stretch(part.start, part.end))
            if part.key == self.repair.drain_id:
                self.batch.update("drains", part.key, values, shape)
            else:
                self.batch.insert_like("drains", self.drain, {**values, "drain_id": part.key}, shape)

    def write_new(self) -> None:
        """The new pipe has name, role and spacing of the drain; nothing else about it is known but what was told."""
        repair, measured = self.repair, self.place.measured
        ends = ends_of(self.drain, self.way.length, self.old, measured)
        inverts = {
            "invert_start": measured.get(self.old.start, ends.values["invert_start"]),
            "invert_end": measured.get(self.old.end, ends.values["invert_end"]),
        }
        guessed = [f"invert_{word}" for word, at in (("start", self.old.start), ("end", self.old.end))
                   if at not in measured and inverts[f"invert_{word}"] is not None]
        words = f"Laid on {repair.done_on} (repair {self.repair_id})"
        words += assumed_words(guessed, "taken from the old pipe")
        self.batch.insert("drains", {
            "drain_id": self.new_key, "name": self.drain["name"], "role": self.drain["role"], "status": "in_ground",
            "spacing": self.drain["spacing"], "diameter": repair.diameter, "material": repair.material,
            "openings": repair.openings, "evidence": "seen", "located_by": repair.located_by, **inverts,
            "invert_error": self.drain["invert_error"] if guessed else repair.invert_error,
            "installed_on": repair.done_on, "in_ground_from": repair.done_on, "note": f"{words}.",
        }, line_wkb(self.new_way.places))

    def write_repair(self, length: float) -> None:
        """The row that ties the call to the new pipe, placed where the old one failed."""
        repair = self.repair
        self.batch.insert("repairs", {
            "repair_id": self.repair_id, "drain_id": self.new_key, "done_on": repair.done_on, "found": repair.found,
            "done": repair.done, "length": length, "photo": repair.photo, "call_id": repair.call_id,
        }, point_wkb(self.way.place((self.old.start + self.old.end) / 2)))


def _why(repair: Repair) -> str:
    words = f"Repair of {repair.drain_id} on {repair.done_on}" + (f", call {repair.call_id}" if repair.call_id else "")
    said = "; ".join(text for text in (repair.found, repair.done) if text)
    return f"{words}: {said}" if said else words


def _drain(batch: Batch, repair: Repair) -> Row:
    drain = batch.row("drains", repair.drain_id)
    if drain is None:
        raise ArchiveError(f"There is no drain '{repair.drain_id}' in {batch.path}: choose one that is there.")
    status = "disproved" if drain["evidence"] == "disproved" else drain["status"]
    if status not in (None, "in_ground"):
        raise ArchiveError(f"Drain {repair.drain_id} is {status}: a repair replaces pipe that is in the ground.")
    laid_on = drain["in_ground_from"] or drain["installed_on"]
    if laid_on is not None and str(laid_on)[:10] > repair.done_on.isoformat():
        raise ArchiveError(
            f"Drain {repair.drain_id} was laid on {str(laid_on)[:10]}, after the repair of {repair.done_on}: correct "
            "one of the two days."
        )
    if repair.call_id and batch.row("calls", repair.call_id) is None:
        raise ArchiveError(f"There is no call '{repair.call_id}' in {batch.path}: enter it first, or leave it out.")
    return drain
