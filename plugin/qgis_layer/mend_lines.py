"""Turns, cuts and mends drains of an archive in its layers: one edit command each, nothing saved."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qgis.core import QgsFeatureRequest, QgsProject, QgsRectangle, QgsVectorLayer, QgsVectorLayerUtils

from ..drain_edits.behind import CUT, TURNED, Behind, Watch, in_order
from ..drain_edits.cut import Scale, check_stations, cut, known_by_shots, known_by_vertices
from ..drain_edits.drawn import Drawn
from ..drain_edits.flip import flipped, swapped
from ..history.parts import numbered_keys
from ..limits import JOIN_TOLERANCE, Limits
from ..schema import layer as schema_layer
from .archive_edit import into_edit_mode
from .archive_info import ArchiveInfo
from .crs import unit_m, units_for
from .drawn_lines import KEY, read_drawn, rows_with, shape_of, stored
from .names_of_parts import move_names, turn_stations
from .row_values import plain_feature


class MendError(Exception):
    """An edit that was not made; the sentence says why. Nothing was changed."""


@dataclass(frozen=True)
class Change:
    """A row as it is and as it will be; `number`: of a row that is there, None: a new one like row `like`."""

    number: int | None
    before: Drawn
    after: Drawn
    like: int | None = None


@dataclass(frozen=True)
class Plan:
    """Changes of one edit command. `cuts`: lines that are cut, as they were, with their parts; `turned`: the lines of
    which the stations run the other way afterwards."""

    title: str
    changes: tuple[Change, ...]
    cuts: tuple[tuple[Drawn, tuple[Drawn, ...]], ...] = ()
    turned: tuple[Drawn, ...] = ()


class LineMender:
    """Of the drains among the layers of one archive, by their names in the schema."""

    def __init__(self, layers: dict[str, QgsVectorLayer]):
        self.layers, self.drains = layers, layers["drains"]
        info, size_m = ArchiveInfo.beside(self.drains), unit_m(self.drains.crs())
        self.units = units_for("auto", self.drains.crs(), info.units)
        self.limits = Limits(info.limits, self.units.foot_m)
        self.scale = Scale(self.units.length_m / size_m, self.units.length_m, self.units.diameter_m)
        self.exact = self.limits["exact_joint"] / size_m  # in the unit of coordinates

    def drawn(self, numbers: Sequence[int]) -> dict[int, Drawn]:
        """Lines as they are drawn now; MendError where one is none any more."""
        found = read_drawn(self.drains, self.drains, numbers)
        if None in found.values():
            raise MendError("A pipe is gone, or is no line of one part: nothing can be done with it here.")
        return found

    def flip(self, numbers: Sequence[int]) -> Plan:
        """Turn lines with the figures of their ends."""
        found = self.drawn(numbers)
        changes = tuple(Change(number, drawn, flipped(drawn)) for number, drawn in found.items())
        return Plan("Drawn direction turned", changes, turned=tuple(found.values()))

    def split(self, number: int, station: float) -> Plan:
        """Cut a line at a station, in the unit of coordinates; CutError at its ends."""
        drawn = self.drawn([number])[number]
        check_stations(drawn, [station], self.exact)
        key = drawn.row.get(KEY)
        keys = [key, next(self._free_keys(str(key)))] if key is not None else [None, None]
        first, second = self._cut(drawn, [station], keys)
        return Plan("Drain cut", (Change(number, drawn, first), Change(None, drawn, second, number)),
                    ((drawn, (first, second)),))

    def mend(self, behind: Sequence[Behind], watch: Watch) -> Plan:
        """What sets right lines that were turned or cut without their figures; moved ends are left to people."""
        changes, cuts = [], []
        for one in behind:
            if one.how == TURNED:
                changes.append(Change(one.number, one.drawn, Drawn(one.drawn.places, {**one.drawn.row,
                                                                                  **swapped(one.drawn.row)})))
        for whole in {id(one.whole): one.whole for one in behind if one.how == CUT}.values():
            made = self._mend_cut(whole, watch.parts(whole))
            if made:
                changes += made
                cuts.append((whole, tuple(change.after for change in made)))
        turned = tuple(one.drawn for one in behind if one.how == TURNED)
        return Plan("Figures of turned and cut drains mended", tuple(changes), tuple(cuts), turned)

    def apply(self, plan: Plan) -> list[str]:
        """Write a plan in one edit command, and the names and stations that refer to it in one of each layer; sentences
        about the latter. Nothing is saved. MendError if nothing was done."""
        self._open(self.drains)
        before = {change.number: change.before for change in plan.changes if change.number is not None}
        if self.drawn(list(before)) != before:
            raise MendError("The pipe was changed meanwhile: choose it again. Nothing was done.")
        self.drains.beginEditCommand(plan.title)
        if not all(self._write(change) for change in plan.changes):
            self.drains.destroyEditCommand()
            raise MendError("QGIS refused the edit: see the log messages. Nothing was done.")
        self.drains.endEditCommand()
        self.drains.triggerRepaint()
        said = []
        for whole, parts in plan.cuts:
            said += move_names(self.layers, whole, parts, self.scale.unit, plan.title)
        return said + turn_stations(self.layers, plan.turned, self.scale.unit, plan.title)

    def _mend_cut(self, whole: Drawn, parts: dict[int, Drawn]) -> list[Change]:
        order = in_order(whole, parts, self.exact)
        if order is None:
            return []
        keys, base = [], whole.row.get(KEY)
        free = self._free_keys(str(base)) if base is not None else iter(())
        for number, _ in order:
            own = parts[number].row.get(KEY)
            keys.append(own if own not in (None, *keys) else next(free, None))
        made = self._cut(whole, [station for _, station in order[1:]], keys)
        return [Change(number, parts[number], Drawn(parts[number].places, part.row))
                for (number, _), part in zip(order, made)]

    def _cut(self, drawn: Drawn, stations: Sequence[float], keys: Sequence[str]) -> list[Drawn]:
        known = [*known_by_shots(drawn, self._shots(drawn), self.scale, self.limits),
                 *known_by_vertices(drawn, self.scale, self.limits)]
        return cut(drawn, stations, keys, datetime.date.today(), known, self.scale, self.limits)

    def _shots(self, drawn: Drawn) -> Iterator[tuple[dict, tuple]]:
        """Shots that name the drain, and those that name none and lie on it."""
        layer = self.layers.get("shots")
        if layer is None:
            return
        near = JOIN_TOLERANCE[self.units.system] * self.scale.unit
        way, declared = drawn.way, schema_layer("shots")
        box = way.box(near)
        request = QgsFeatureRequest().setFilterRect(QgsRectangle(box.min_x, box.min_y, box.max_x, box.max_y))
        request.setDestinationCrs(self.drains.crs(), QgsProject.instance().transformContext())
        for feature in layer.getFeatures(request):
            row, shape = plain_feature(feature, declared), feature.geometry()
            if shape.isNull():
                continue
            point = shape.asPoint()
            named = row.get(KEY)
            if named == drawn.row.get(KEY) or (named is None and way.nearest((point.x(), point.y()))[0] <= near):
                yield row, (point.x(), point.y())

    def _free_keys(self, base: str) -> Iterator[str]:
        return numbered_keys(base, lambda key: next(rows_with(self.drains, KEY, key), None) is not None)

    def _open(self, layer: QgsVectorLayer) -> None:
        if not into_edit_mode(layer):
            raise MendError(f"The layer '{layer.name()}' is read-only, so nothing was done.")

    def _write(self, change: Change) -> bool:
        if change.number is None:
            return self._add(change)
        if change.after.places != change.before.places and not self.drains.changeGeometry(
                change.number, shape_of(change.after, self.drains)):
            return False
        was, fields = change.before.row, self.drains.fields()
        return all(self.drains.changeAttributeValue(change.number, fields.lookupField(name), stored(value))
                   for name, value in change.after.row.items() if value != was.get(name))

    def _add(self, change: Change) -> bool:
        """A new row with what row `like` has beside what the line says; its row number is left to the file."""
        like, fields = self.drains.getFeature(change.like), self.drains.fields()
        own = set(self.drains.primaryKeyAttributes())
        values = {index: value for index, value in enumerate(like.attributes()) if index not in own}
        values.update({fields.lookupField(name): stored(value) for name, value in change.after.row.items()})
        shape = shape_of(change.after, self.drains)
        return self.drains.addFeature(QgsVectorLayerUtils.createFeature(self.drains, shape, values))
