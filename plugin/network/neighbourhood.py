"""Which lines have anything to do with each other while a network is built."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..tables import Drains, Shots, Structures
from .lines import Lines
from .near import LineIndex, near_pairs
from .parallel import by_pairs

_SLACK_M = 1e-3  # more than any rounding of a distance


def reach_of(tolerance_m: float, limits: Mapping[str, float]) -> float:
    """How far apart two lines, or a point and a line, may lie and still matter to each other."""
    return max(tolerance_m, limits["exact_joint"]) + _SLACK_M


def neighbourhoods(
    lines: Lines, drains: Drains, structures: Structures, shots: Shots, reach_m: float
) -> np.ndarray:
    """A number for every line. Lines of different numbers are built independently of each other.

    They have no place within reach of each other, no structure or level shot within reach of both, and no key in
    common. Lines that carry no water count, since level shots look at them too.
    """
    index = LineIndex.of(lines, np.ones(len(lines), dtype=bool))
    pairs = near_pairs(lines, index, reach_m).once()
    near = by_pairs(
        lambda one, other: shapely.dwithin(one, other, reach_m), lines.geometry[pairs.line], lines.geometry[pairs.other]
    )
    links = [(pairs.line[near], pairs.other[near])]
    key = pandas.factorize(drains.drain_id)[0][lines.drain]
    links.append(_in_common(key, np.arange(len(lines))))
    links += [_in_common(*index.within(xy_m, reach_m)) for xy_m in (structures.xy_m, shots.xy_m[nameless(shots)])]
    one, other = (np.concatenate(ends) for ends in zip(*links))
    graph = csr_matrix((np.ones(len(one), dtype=np.int8), (one, other)), shape=(len(lines), len(lines)))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _in_common(what: np.ndarray, line: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each line with the next one that has the same in common."""
    order = np.argsort(what, kind="stable")
    same = what[order][1:] == what[order][:-1]
    return line[order][:-1][same], line[order][1:][same]


def nameless(shots: Shots) -> np.ndarray:
    """Level shots that name no drain, and belong to the pipe they lie on."""
    return np.equal(shots.drain_id, None)
