"""Which lines of a layout the archive has already: by key, by shape, nearly, in part."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas
import shapely

from ..network.lines import Lines, explode
from ..tables import Drains
from .beside import Beside, run_beside
from .found import Found
from .given import Archive, Settings, row_of_key

_WHOLE = 0.9  # from this share on a line is taken to be drawn twice as a whole
_GONE = ("abandoned", "removed")


@dataclass(frozen=True)
class Drawn:
    """Where the archive has a line of the layout, by row of the layout; rows of the archive, -1: none.

    `same_key`, `same_shape`; `near`: the drain that runs beside most of the line, `near_share` the part of the line
    that runs beside pipe of the archive at all, `offset_m` how far beside; `redraws`: the one drain that the line
    would redraw if it were accepted.
    """

    same_key: np.ndarray
    same_shape: np.ndarray
    near: np.ndarray
    near_share: np.ndarray
    offset_m: np.ndarray
    redraws: np.ndarray


@dataclass(frozen=True)
class _Near:
    """Lines of the archive near the layout, then those of the layout, as one set of lines.

    `archive`: row in the archive of the first ones; `layout`: row in the layout of the others.
    """

    lines: Lines
    archive: np.ndarray
    layout: np.ndarray

    def rows(self, line: np.ndarray) -> np.ndarray:
        """Rows in the layout, or in the archive, of lines."""
        drain = self.lines.drain[line]
        old = drain < len(self.archive)
        return np.where(
            old, np.append(self.archive, -1)[np.where(old, drain, -1)],
            np.append(self.layout, -1)[np.where(old, -1, drain - len(self.archive))],
        )


def compare_shapes(
    archive: Archive, layout: Drains, usable: np.ndarray, settings: Settings
) -> tuple[Drawn, list[Found]]:
    """Compare the usable lines of the layout with the drains of the archive and with each other."""
    limits = settings.limits
    distance_m = max(settings.tolerance_m, limits["near_duplicate_distance"])
    near, pairs = _near_pairs(archive.drains, layout, usable, distance_m)
    bearing = limits["near_duplicate_bearing"]
    same_key = np.where(layout.id_missing, -1, row_of_key(archive.drains.drain_id, layout.drain_id))
    same_key[_lacks_key(archive.drains, same_key)] = -1
    same_shape = _same_shapes(archive.drains, layout, usable, near, pairs, same_key, limits["same_shape"])
    own, old = pairs
    outward = run_beside(near.lines, own, old, distance_m, bearing)
    backward = run_beside(near.lines, old, own, distance_m, bearing)
    drawn = _drawn(layout, near, outward, backward, same_key, same_shape, limits["near_duplicate_share"])
    found = [
        *_key_reasons(archive.drains, layout, usable, drawn),
        *_near_reasons(archive.drains, layout, near, drawn, outward, backward, settings),
        *_drawn_twice(layout, usable, drawn, near, distance_m, settings),
    ]
    return drawn, found


def _lacks_key(drains: Drains, row: np.ndarray) -> np.ndarray:
    """A drain without a key is called by its number, which is no key."""
    return (row >= 0) & np.append(drains.id_missing, False)[row]


def _near_pairs(
    old: Drains, layout: Drains, usable: np.ndarray, distance_m: float
) -> tuple[_Near, tuple[np.ndarray, np.ndarray]]:
    """Lines near each other, and pairs (line of the layout, line of the archive) whose boxes come that near.

    Pipe that is gone, or of which somebody found that it is not there, is no drawing of a pipe laid since.
    """
    there = ~(np.isin(old.status.astype(str), _GONE) | (old.evidence == "disproved"))
    rows = np.flatnonzero(there & ~(shapely.is_missing(old.geometry) | shapely.is_empty(old.geometry)))
    new = np.flatnonzero(usable)
    boxes = shapely.box(*(shapely.bounds(layout.geometry[new]) + distance_m * np.array([-1, -1, 1, 1])).T)
    _, hit = shapely.STRtree(old.geometry[rows]).query(boxes)
    rows = rows[np.unique(hit)]
    lines, _ = explode(np.concatenate([old.geometry[rows], layout.geometry[new]]))
    of_layout = lines.drain >= len(rows)
    tree = shapely.STRtree(lines.geometry[~of_layout])
    own = np.flatnonzero(of_layout)
    boxes = shapely.box(*(shapely.bounds(lines.geometry[own]) + distance_m * np.array([-1, -1, 1, 1])).T)
    one, two = tree.query(boxes)
    return _Near(lines, rows, new), (own[one], np.flatnonzero(~of_layout)[two])


def _same_shapes(
    old: Drains, layout: Drains, usable: np.ndarray, near: _Near, pairs: tuple[np.ndarray, np.ndarray],
    same_key: np.ndarray, same_m: float,
) -> np.ndarray:
    """The drain that nowhere lies farther than `same_m` from each line; that with its key before any other."""
    keyed = np.flatnonzero(usable & (same_key >= 0))
    row = np.concatenate([keyed, near.rows(pairs[0])])
    drain = np.concatenate([same_key[keyed], near.rows(pairs[1])])
    apart = np.abs(shapely.bounds(layout.geometry[row]) - shapely.bounds(old.geometry[drain])).max(axis=1)
    may = np.flatnonzero(apart <= same_m)
    row, drain = row[may], drain[may]
    alike = shapely.hausdorff_distance(layout.geometry[row], old.geometry[drain]) <= same_m
    row, drain = row[alike], drain[alike]
    order = np.lexsort((drain, drain != same_key[row], row))
    same = np.full(len(layout), -1, dtype=np.int64)
    same[row[order][::-1]] = drain[order][::-1]
    return same


def _drawn(
    layout: Drains, near: _Near, outward: Beside, backward: Beside, same_key: np.ndarray, same_shape: np.ndarray,
    least_share: float,
) -> Drawn:
    count = len(layout)
    row, drain = near.rows(outward.line), near.rows(outward.other)
    order = np.lexsort((drain, -backward.share, -outward.share, row))
    order = order[outward.share[order] > 0.0]
    best, offset_m = np.full(count, -1, dtype=np.int64), np.full(count, np.nan)
    best[row[order][::-1]] = drain[order][::-1]
    offset_m[row[order][::-1]] = outward.offset_m[order][::-1]
    share = np.zeros(count)
    lines = near.lines.drain >= len(near.archive)
    share[near.layout[near.lines.drain[lines] - len(near.archive)]] = outward.share_of_lines(len(near.lines))[lines]
    covered = backward.share > least_share
    match = np.bincount(row[covered], minlength=count)  # drains of the archive that this line stands for
    stands_for = np.full(count, -1, dtype=np.int64)
    stands_for[row[covered]] = drain[covered]
    redraws = np.where((match == 1) & (share > least_share), stands_for, -1)
    redraws = np.select([same_key >= 0, same_shape >= 0], [same_key, same_shape], redraws)
    redraws[(same_key < 0) & _told_again(redraws)] = -1
    return Drawn(same_key, same_shape, best, share, offset_m, redraws)


def _told_again(drain: np.ndarray) -> np.ndarray:
    """Which of the drains are named by several lines: nobody can say which of these redraws them."""
    number, back = np.unique(drain, return_inverse=True)
    return (np.bincount(back)[back] > 1) & (drain >= 0)


def _key_reasons(old: Drains, layout: Drains, usable: np.ndarray, drawn: Drawn) -> Iterator[Found]:
    known = np.flatnonzero(~layout.id_missing)
    number, _ = pandas.factorize(layout.drain_id[known])
    times = np.bincount(number)[number] if len(known) else number
    twice = known[times > 1]
    detail = [f"{count} lines of the layout have the key {key}"
              for count, key in zip(times[times > 1].tolist(), layout.drain_id[twice].tolist())]
    yield Found.of("key-twice", twice, times[times > 1], None, detail)
    other = usable & (drawn.same_key >= 0) & (drawn.same_shape != drawn.same_key)
    rows = np.flatnonzero(other)
    yield Found.of("other-shape", rows, np.nan, old.drain_id[drawn.same_key[rows]],
                   [f"the archive's drain {key} is drawn elsewhere" for key in layout.drain_id[rows]])


def _near_reasons(
    old: Drains, layout: Drains, near: _Near, drawn: Drawn, outward: Beside, backward: Beside, settings: Settings
) -> Iterator[Found]:
    least = settings.limits["near_duplicate_share"]
    other_shape = drawn.same_shape < 0
    rows = np.flatnonzero(other_shape & (drawn.near_share > least))
    keys = old.drain_id[drawn.near[rows]]
    show = settings.units.show_length
    detail = [
        f"{share_words(share)} of it runs {show(offset)} beside {name} of the archive"
        for share, offset, name in zip(drawn.near_share[rows], drawn.offset_m[rows], old.name[drawn.near[rows]])
    ]
    yield Found.of("near-duplicate", rows, drawn.near_share[rows], keys, detail)
    row, drain = near.rows(outward.line), near.rows(outward.other)
    part = np.flatnonzero(
        other_shape[row] & (drawn.near_share[row] <= least) & (backward.share > least) & (outward.share > 0.0)
    )
    length_m = outward.share[part] * near.lines.length_m[outward.line[part]]
    detail = [f"runs along {name} of the archive for {show(along)}" for name, along in zip(old.name[drain[part]],
                                                                                         length_m)]
    yield Found.of("overlap", row[part], length_m, old.drain_id[drain[part]], detail)


def _drawn_twice(
    layout: Drains, usable: np.ndarray, drawn: Drawn, near: _Near, distance_m: float, settings: Settings
) -> Iterator[Found]:
    """Lines that run beside another line of the layout, unless both are in the archive as well."""
    own = np.flatnonzero(near.lines.drain >= len(near.archive))
    boxes = shapely.box(*(shapely.bounds(near.lines.geometry[own]) + distance_m * np.array([-1, -1, 1, 1])).T)
    one, two = shapely.STRtree(near.lines.geometry[own]).query(boxes)
    apart = near.lines.drain[own[one]] != near.lines.drain[own[two]]
    one, two = own[one[apart]], own[two[apart]]
    pairs = run_beside(near.lines, one, two, distance_m, settings.limits["near_duplicate_bearing"])
    pairs = pairs.where(pairs.share > settings.limits["near_duplicate_share"])
    row, other = near.rows(pairs.line), near.rows(pairs.other)
    both = (drawn.same_shape[row] >= 0) & (drawn.same_shape[other] >= 0)
    both &= drawn.same_shape[row] != drawn.same_shape[other]
    row, other, share = row[~both], other[~both], pairs.share[~both]
    order = np.lexsort((-share, row))
    first = np.ones(len(order), dtype=bool)
    first[1:] = row[order][1:] != row[order][:-1]
    best = order[first]
    detail = [f"{share_words(part)} of it runs beside {name} of the layout"
              for part, name in zip(share[best], layout.name[other[best]])]
    yield Found.of("drawn-twice", row[best], share[best], layout.drain_id[other[best]], detail)


def share_words(share: float) -> str:
    """'all' from where a rounded share would say 100 %."""
    return "all" if share >= 0.995 else f"{share:.0%}"
