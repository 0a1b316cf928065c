"""Stretches of many lines in flat arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..network.lines import Lines
from .along import running_m


@dataclass(frozen=True)
class Ranges:
    """Stretches of lines, sorted by line and place."""

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    @property
    def length_m(self) -> np.ndarray:
        return self.to_m - self.from_m

    def only(self, which: np.ndarray | slice) -> Ranges:
        """The stretches that `which` selects, without further columns."""
        return Ranges(self.line[which], self.from_m[which], self.to_m[which])


def cut(ranges: Ranges, lines: Lines, cut_line: np.ndarray, cut_at_m: np.ndarray, least_m: float) -> Ranges:
    """Cut ranges at places; a cut nearer than `least_m` to an end of its range or to the cut before is left out."""
    begin = running_m(lines, ranges.line, ranges.from_m)
    end = running_m(lines, ranges.line, ranges.to_m)
    place = np.sort(running_m(lines, np.asarray(cut_line, dtype=np.int64), np.asarray(cut_at_m, dtype=float)))
    of = np.searchsorted(begin, place, side="right") - 1
    place, of = place[of >= 0], of[of >= 0]
    before = np.maximum(begin[of], np.concatenate([[-np.inf], place[:-1]])[: len(place)])
    keep = (place - before >= least_m) & (end[of] - place >= least_m)
    of, at_m = of[keep], ranges.from_m[of[keep]] + place[keep] - begin[of[keep]]
    of = np.concatenate([np.arange(len(ranges)), of])
    from_m = np.concatenate([ranges.from_m, at_m])
    order = np.lexsort((from_m, of))
    of, from_m = of[order], from_m[order]
    to_m = ranges.to_m[of]
    inner = of[1:] == of[:-1]
    to_m[:-1][inner] = from_m[1:][inner]
    return Ranges(ranges.line[of], from_m, to_m)
