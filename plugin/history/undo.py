"""Takes a batch, or a day's work, back: the rows it touched become what they were before, as a batch of its own."""

from __future__ import annotations

import datetime
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from ..schema.declare import Layer
from ..schema.faults import ArchiveError
from ..schema.history import DELETE, GAP
from ..schema.rules import fill
from .batch import archive_batch
from .batches import last_batches
from .chains import Chain, chains_since, present_row
from .file import open_archive, told_plainly
from .past import Row, called, whole_day
from .progress import Progress
from .undo_rows import CHANGED, REMOVED, RESTORED, Target, write_targets

KIND = "undo"
_MOST_LISTED = 8
# without the row about the archive itself there would be no archive: that it was made is not taken back
_ENTRIES = "SELECT seq FROM history WHERE {chosen} AND action <> ? AND NOT (layer = 'archive' AND action = 'insert')"
_OF_BATCH = fill(_ENTRIES, chosen="batch = ?")
_OF_DAY = fill(_ENTRIES, chosen="at >= ? AND at < ? AND (? = '' OR who = ?)")
_DONE = {"update": "changed", "delete": "deleted", "replaced": "replaced", "insert": "added"}


@dataclass(frozen=True)
class Chosen:
    """What to take back: `batch`, or all that was done on `day` (of this computer's clock), by `done_by` where that is
    given."""

    batch: str = ""
    day: datetime.date | None = None
    done_by: str = ""

    @property
    def words(self) -> str:
        if self.batch:
            return f"batch {self.batch}"
        return f"the work of {self.day}" + (f" by {self.done_by}" if self.done_by else "")


@dataclass(frozen=True)
class RowToUndo:
    """What taking back means for a row: `change` is "taken out", "changed back" or "brought back"; `conflict` says why
    it cannot be, empty where it can."""

    layer: str
    key: str
    change: str
    conflict: str


@dataclass
class Undo:
    """What was, or would be, taken back. `batch`: the undo's own, empty if nothing was written."""

    batch: str
    rows: list[RowToUndo]
    cautions: list[str] = field(default_factory=list)

    @property
    def conflicts(self) -> list[str]:
        return [row.conflict for row in self.rows if row.conflict]


def look_at_undo(path: Path, chosen: Chosen) -> Undo:
    """What taking back would do, row by row, with what stands in its way. Raises ArchiveError."""
    with closing(open_archive(path)) as connection, told_plainly(path):
        return _Plan(connection, path, chosen).told("")


def undo(path: Path, chosen: Chosen, who: str = "", progress: Progress | None = None) -> Undo:
    """Take it back, all or nothing, as a batch that can be undone like any other.

    Raises ArchiveError, with the rows and what happened to them, if they were changed later or if later rows refer to
    one that would go, and if there is nothing to take back; CanceledError.
    """
    with archive_batch(path, KIND, f"Undo of {chosen.words}", who) as batch:
        plan = _Plan(batch.connection, path, chosen)
        done = plan.told(batch.id)
        _refuse(path, chosen, done.conflicts)
        write_targets(batch, plan.targets, progress or Progress())
    return done


class _Plan:
    """The rows a choice touched, what each shall become, and what stands in the way."""

    def __init__(self, connection: sqlite3.Connection, path: Path, chosen: Chosen):
        self.connection, self.chosen = connection, chosen
        self.seqs = _chosen_entries(connection, chosen)
        if not self.seqs:
            raise ArchiveError(_nothing(connection, path, chosen))
        chains = chains_since(connection, min(self.seqs))
        touched, others = [], []
        for chain in chains:
            (touched if any(entry.seq in self.seqs for entry in chain.entries) else others).append(chain)
        self.targets = [target for target in map(self._aim, reversed(touched)) if target is not None]
        if not self.targets:
            raise ArchiveError(f"{_large(chosen.words)} is taken back already: every row is as it was before.")
        self._find_gaps()
        self._find_taken_keys()
        self._find_left_without(others)

    def told(self, batch: str) -> Undo:
        rows = [
            RowToUndo(target.chain.layer.name, _key_of(target), target.change, target.conflict)
            for target in self.targets
        ]
        return Undo(batch, rows, self._cautions())

    def _aim(self, chain: Chain) -> Target | None:
        """What a row was before its first entry chosen; None if it is so today."""
        first = max(place for place, entry in enumerate(chain.entries) if entry.seq in self.seqs)
        row, now = chain.before(self.connection, first), chain.present(self.connection)
        if _same(row, now):
            return None
        target = Target(chain, row, REMOVED if row is None else RESTORED if now is None else CHANGED)
        later = [place for place in range(first) if chain.entries[place].seq not in self.seqs]
        if later and not self._came_to_nothing(chain, later, now):
            entry = chain.entries[later[-1]]
            by = (f" by {entry.who}" if entry.who else "") + (f" in batch {entry.batch}" if entry.batch else "")
            done = f"was {_DONE[entry.action]} on {_minute(entry.at)}{by}"
            target.hindered_by(f"{chain.layer.one} {chain.entries[first].key} {done}")
        return target

    def _came_to_nothing(self, chain: Chain, later: list[int], now: Row | None) -> bool:
        """Whether what was done after the last entry chosen left the row as that entry had made it."""
        last = min(place for place, entry in enumerate(chain.entries) if entry.seq in self.seqs)
        return max(later) < last and _same(chain.before(self.connection, last - 1), now)

    def _find_gaps(self) -> None:
        """Layers of which changes may be missing since."""
        gaps = dict(self.connection.execute(
            "SELECT layer, max(at) FROM history WHERE action = ? AND seq > ? GROUP BY layer", (GAP, min(self.seqs))
        ))
        for target in self.targets:
            layer = target.chain.layer
            if layer.name in gaps:
                target.hindered_by(f"the history of '{layer.title}' has a gap before {_minute(gaps[layer.name])}")

    def _find_taken_keys(self) -> None:
        """Rows that shall have a key that another row, which stays, has by now."""
        going = {(target.chain.layer.name, target.chain.now) for target in self.targets}
        for target in self.targets:
            layer = target.chain.layer
            if target.row is None or layer.key is None or target.row[layer.key.name] is None:
                continue
            name = called(layer.name, target.row)
            if (layer.name, name) not in going and present_row(self.connection, layer, name) is not None:
                target.hindered_by(f"another {layer.one} {name} was added since")

    def _find_left_without(self, others: list[Chain]) -> None:
        """Rows added or changed since that refer to a row that would go."""
        going = {(target.chain.layer.name, target.chain.now): target for target in self.targets
                 if target.change == REMOVED}
        for chain in others if going else ():
            for reference in _references(chain.layer, chain.present(self.connection)):
                target = going.get(reference)
                if target is not None:
                    of = f"{target.chain.layer.one} {reference[1]}"
                    target.hindered_by(f"{chain.layer.one} {chain.now} refers to {of}")

    def _cautions(self) -> list[str]:
        """The file does not know who deletes a row by hand."""
        if not self.chosen.done_by:
            return []
        ((count,),) = self.connection.execute(
            "SELECT count(*) FROM history WHERE at >= ? AND at < ? AND action = ? AND who IS NULL",
            (*whole_day(self.chosen.day), DELETE),
        ).fetchall()
        if not count:
            return []
        rows = "1 row was" if count == 1 else f"{count:,} rows were"
        return [
            f"{rows} deleted by hand on that day, and the file does not know by whom: what was deleted stays deleted. "
            "Take the whole day back if it was the same person."
        ]


def _references(layer: Layer, row: Row | None) -> Iterable[tuple[str, str]]:
    for one in layer.fields:
        if row is not None and one.refers_to and row.get(one.name) is not None:
            yield one.refers_to, str(row[one.name])


def _same(one: Row | None, other: Row | None) -> bool:
    """Whether two states of a row are the same; a column that somebody added since was unknown before."""
    if one is None or other is None:
        return one is other
    return all(one.get(column) == other.get(column) for column in {*one, *other})


def _chosen_entries(connection: sqlite3.Connection, chosen: Chosen) -> set[int]:
    if bool(chosen.batch) == (chosen.day is not None):
        raise ArchiveError("Give either a batch or a day to take back.")
    if chosen.batch:
        found = connection.execute(_OF_BATCH, (chosen.batch, GAP))
    else:
        found = connection.execute(_OF_DAY, (*whole_day(chosen.day), chosen.done_by, chosen.done_by, GAP))
    return {seq for (seq,) in found}


def _nothing(connection: sqlite3.Connection, path: Path, chosen: Chosen) -> str:
    if not chosen.batch:
        return f"The history of {path} knows nothing of {chosen.words}: choose another day or person."
    known = [one.batch for one in last_batches(connection, 5) if one.batch]
    last = f"the last ones are {', '.join(known)}" if known else "it has none yet"
    return f"The history of {path} has no batch '{chosen.batch}': {last}."


def _key_of(target: Target) -> str:
    return target.chain.now or called(target.chain.layer.name, target.row)


def _refuse(path: Path, chosen: Chosen, conflicts: list[str]) -> None:
    if conflicts:
        more = f"; and {len(conflicts) - _MOST_LISTED:,} more" if len(conflicts) > _MOST_LISTED else ""
        raise ArchiveError(
            f"{_large(chosen.words)} cannot be taken back, since other work came after it: "
            f"{'; '.join(conflicts[:_MOST_LISTED])}{more}. Take that back first, or change the rows by hand. Nothing "
            f"was changed in {path}."
        )


def _large(words: str) -> str:
    return words[:1].upper() + words[1:]


def _minute(at: str) -> str:
    return f"{at[:16].replace('T', ' ')} UTC"
