"""What was found about lines of a layout, in bulk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .classes import CLASS_IDS, CLASSES, RANK


@dataclass(frozen=True)
class Found:
    """Lines of the layout (rows) to which a class applies.

    `value` in SI (NaN: none), `other` the key of the drain concerned or None, `detail` a sentence of facts,
    `xy_m` where it is, (rows, 2), NaN where it is the whole line.
    """

    class_id: str
    row: np.ndarray
    value: np.ndarray
    other: np.ndarray
    detail: np.ndarray
    xy_m: np.ndarray

    @classmethod
    def of(
        cls, class_id: str, row: np.ndarray, value: object = np.nan, other: object = None, detail: object = "",
        xy_m: np.ndarray | None = None,
    ) -> Found:
        """Single values stand for all rows."""
        row = np.asarray(row, dtype=np.int64)
        columns = [np.empty(len(row), dtype=object) for _ in (other, detail)]
        for column, given in zip(columns, (other, detail)):
            column[:] = given
        places = np.full((len(row), 2), np.nan) if xy_m is None else np.asarray(xy_m, dtype=float).reshape(-1, 2)
        return cls(class_id, row, np.broadcast_to(np.asarray(value, dtype=float), len(row)), *columns, places)


@dataclass(frozen=True)
class Reasons:
    """All that was found, a row a reason: `kind` is a place in CLASSES. Sorted by line, the worst first."""

    row: np.ndarray
    kind: np.ndarray
    value: np.ndarray
    other: np.ndarray
    detail: np.ndarray
    xy_m: np.ndarray

    def __len__(self) -> int:
        return len(self.row)

    @classmethod
    def gathered(cls, found: list[Found]) -> Reasons:
        kind = [np.full(len(one.row), RANK[one.class_id], dtype=np.int64) for one in found]
        columns = [
            np.concatenate([np.zeros(0, dtype=kind), *parts]) for kind, parts in (
                (np.int64, [one.row for one in found]), (np.int64, kind), (float, [one.value for one in found]),
                (object, [one.other for one in found]), (object, [one.detail for one in found]),
            )
        ]
        xy_m = np.concatenate([np.zeros((0, 2)), *(one.xy_m for one in found)])
        order = np.lexsort((columns[1], columns[0]))
        return cls(*(column[order] for column in columns), xy_m[order])

    def of(self, class_id: str) -> Reasons:
        keep = self.kind == RANK[class_id]
        return Reasons(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))

    def worst(self, lines: int) -> np.ndarray:
        """The class of every line, as a place in CLASSES; "new" where nothing was found."""
        worst = np.full(lines, RANK["new"], dtype=np.int64)
        np.minimum.at(worst, self.row, self.kind)
        return worst

    def has(self, lines: int, *class_ids: str) -> np.ndarray:
        """Which lines have one of the reasons."""
        has = np.zeros(lines, dtype=bool)
        has[self.row[np.isin(self.kind, [RANK[one] for one in class_ids])]] = True
        return has


def action_of(kind: np.ndarray) -> np.ndarray:
    """The proposed action of classes by their places."""
    return np.array([one.action for one in CLASSES], dtype=object)[kind]


def accepted_as(kind: np.ndarray) -> np.ndarray:
    """What accepting does, of classes by their places."""
    return np.array([one.accepted for one in CLASSES], dtype=object)[kind]


def class_of(kind: np.ndarray) -> np.ndarray:
    return np.array(CLASS_IDS, dtype=object)[kind]
