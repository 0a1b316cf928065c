"""Shows what somebody else changed since a layer was loaded, before a save overwrites it.

The archive's history tells which rows were changed, by whom and what they held before, so nothing has to be remembered
but its last number. A guard compares at the last moment, in `beforeCommitChanges`. Between that and the writing
somebody may still come in, so it looks again after the save and tells what was overwritten then; the history keeps it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

from qgis.core import NULL, QgsFeatureRequest, QgsVectorLayer

from ..schema import layer as schema_layer
from ..schema.history import GEOMETRY
from ..schema.kept_rows import read_kept_row
from ..schema.rules import literal
from ..sharing.three_way import Clash, merge_row, same
from ..sharing.words import clash_words, heading
from ..units import US, Units
from .archive import open_layer
from .archive_info import ArchiveInfo
from .archive_place import place_of, table_of
from .history_layer import last_number
from .refused_save import refuse_save, take_out
from .row_values import kinds_of, plain_feature, plain_kept, plain_shape, plain_value

# filled in anew by every save, so both sides differ in it always
_NOT_COMPARED = ("edited_by",)


@dataclass(frozen=True)
class Conflict:
    """A row that is being saved and that somebody else changed meanwhile. `number` is its number in the layer."""

    key: str
    number: int
    clashes: tuple[Clash, ...]
    who: str
    at: str
    sentence: str


@dataclass(frozen=True)
class _Entry:
    """A row of the history: what a row of the layer held before `who` changed it."""

    seq: int
    key: str
    who: str
    at: str
    before: dict


class SaveGuard:
    """Watches one layer of an archive that is edited.

    `decide` is called with the conflicts before a save and returns whether to go on; if not, nothing is written and the
    layer stays in edit mode with all its edits. `tell` is called after a save with what it overwrote unseen.
    """

    def __init__(
        self,
        watched: QgsVectorLayer,
        decide: Callable[[list[Conflict]], bool],
        tell: Callable[[list[Conflict]], None],
    ):
        self.layer, self.decide, self.tell = watched, decide, tell
        self.declared = schema_layer(table_of(watched))
        self._history = open_layer(place_of(watched), "history")
        self._units = Units(ArchiveInfo.beside(watched).units or US)
        self._loaded = 0
        self._seen: dict[int, int] = {}  # row number -> number of the history up to which its changes are known here
        self._saved_after = 0
        self._saved: dict[int, tuple[dict, dict | None]] = {}  # row number -> the row before the save, and as saved
        self._forget()
        watched.beforeCommitChanges.connect(self._before_commit)
        watched.afterCommitChanges.connect(self._after_commit)
        watched.afterRollBack.connect(self._forget)

    def release(self) -> None:
        """Watch no longer."""
        self.layer.beforeCommitChanges.disconnect(self._before_commit)
        self.layer.afterCommitChanges.disconnect(self._after_commit)
        self.layer.afterRollBack.disconnect(self._forget)

    def conflicts(self) -> list[Conflict]:
        """Rows edited and not saved that somebody else changed since they were loaded, as the archive has them now."""
        entries = self._entries(self._edited(), lambda number: self._seen.get(number, self._loaded))
        now, found = self._rows(entries), []
        for number, since in entries.items():
            base = since[0].before
            found.append(self._conflict(number, since, base, self._mine(number, base), now[number]))
        return [conflict for conflict in found if conflict is not None]

    def _forget(self) -> None:
        """All rows are read anew from here on."""
        self._loaded = self._last()
        self._seen.clear()

    def _before_commit(self) -> None:
        take_out(self.layer)
        found = self.conflicts()
        if found and not self.decide(found):
            refuse_save(self.layer)
            return
        self._saved_after = self._last()
        rows = self._rows(self._edited())
        self._saved = {number: (row, self._mine(number, row)) for number, row in rows.items() if row is not None}

    def _after_commit(self) -> None:
        """What was written stands in the history, also if the save failed in part."""
        entries = self._entries(self._saved, lambda number: self._saved_after)
        now, overwritten = self._rows(entries), []
        for number, found in entries.items():
            was, mine = self._saved[number]
            theirs = _between(found, was, mine, now[number])
            conflict = self._conflict(number, found, was, mine, theirs, _written_back(was, mine, theirs, now[number]))
            overwritten.append(conflict)
            self._seen[number] = found[-1].seq
        self._saved = {}
        if any(overwritten):
            self.tell([conflict for conflict in overwritten if conflict is not None])

    def _edited(self) -> set[int]:
        """Numbers of rows that are there already and are changed or deleted here."""
        buffer = self.layer.editBuffer()
        if buffer is None:
            return set()
        return {*buffer.changedAttributeValues(), *buffer.changedGeometries(), *buffer.deletedFeatureIds()}

    def _mine(self, number: int, row: dict) -> dict | None:
        """A row with what is changed here; None if it is deleted here."""
        buffer = self.layer.editBuffer()
        if number in buffer.deletedFeatureIds():
            return None
        mine, kinds, fields = dict(row), kinds_of(self.declared), self.layer.fields()
        for index, value in buffer.changedAttributeValues().get(number, {}).items():
            name = fields.at(index).name()
            if name in kinds:
                mine[name] = plain_value(value, kinds[name])
        if number in buffer.changedGeometries():
            mine[GEOMETRY] = plain_shape(buffer.changedGeometries()[number])
        return mine

    def _last(self) -> int:
        return last_number(self._history, self._loaded or None)

    def _entries(self, numbers: Collection[int], known: Callable[[int], int]) -> dict[int, list[_Entry]]:
        """What the history has of these rows past the number `known` for each, oldest first."""
        found: dict[int, list[_Entry]] = {}
        if not numbers:
            return found
        oldest = min(known(number) for number in numbers)
        wanted = f'"seq" > {oldest} AND "layer" = {literal(self.declared.name)} AND "before" IS NOT NULL'
        for entry in sorted(self._history.dataProvider().getFeatures(_request(wanted)), key=lambda row: row["seq"]):
            number = read_kept_row(entry["before"]).get("fid")
            if number in numbers and entry["seq"] > known(number):
                words = (str(entry[name]) if entry[name] != NULL else "" for name in ("key", "who", "at"))
                found.setdefault(number, []).append(
                    _Entry(entry["seq"], *words, plain_kept(entry["before"], self.declared))
                )
        return found

    def _rows(self, numbers: Collection[int]) -> dict[int, dict | None]:
        """Rows as the archive holds them now."""
        rows: dict[int, dict | None] = dict.fromkeys(numbers)
        if rows:
            for feature in self.layer.dataProvider().getFeatures(QgsFeatureRequest().setFilterFids(list(rows))):
                rows[feature.id()] = plain_feature(feature, self.declared)
        return rows

    def _conflict(
        self, number: int, entries: list[_Entry], base: dict, mine: dict | None, theirs: dict | None,
        more: tuple[Clash, ...] = (),
    ) -> Conflict | None:
        """None if neither side's change is lost; `more`: losses beside those of fields that both changed."""
        clashes = (*merge_row(_compared(base), _compared(mine), _compared(theirs)).clashes, *more)
        if not clashes:
            return None
        last = entries[-1]
        words = "; ".join(clash_words(clash, self.declared, self._units, last.who) for clash in clashes)
        sentence = f"{heading(self.declared, last.key)}, changed at {last.at}: {words}."
        return Conflict(last.key, number, clashes, last.who, last.at, sentence)


def _between(entries: list[_Entry], was: dict, mine: dict | None, now: dict | None) -> dict | None:
    """What somebody wrote after `was` was read and before `mine` was written over it."""
    if mine is None:
        return entries[-1].before
    if now is None:
        return None
    theirs = dict(was)
    for entry in entries:
        theirs.update({n: value for n, value in entry.before.items() if not same(value, was[n]) and n in mine})
    return {name: was[name] if same(value, mine[name]) else value for name, value in theirs.items()}


def _written_back(was: dict, mine: dict | None, theirs: dict | None, now: dict | None) -> tuple[Clash, ...]:
    """Fields only somebody else changed that hold their old value again: QGIS writes whole rows into a file."""
    if mine is None or theirs is None or now is None:
        return ()
    return tuple(
        Clash(name, was[name], now[name], value) for name, value in theirs.items()
        if name not in _NOT_COMPARED and same(mine[name], was[name]) and not same(value, was[name])
        and same(now[name], was[name])
    )


def _compared(row: dict | None) -> dict | None:
    return None if row is None else {name: value for name, value in row.items() if name not in _NOT_COMPARED}


def _request(filter_words: str) -> QgsFeatureRequest:
    return QgsFeatureRequest().setFilterExpression(filter_words)
