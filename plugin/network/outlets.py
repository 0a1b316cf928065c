"""Where water leaves the network.

In this order: structures of kind outlet within the tolerance of a pipe; in systems without one, the
free end of an outlet pipe; and where the whole layer has neither such a structure nor an outlet pipe,
the free end of the main of a system with one main, marked assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..tables import Drains, Structures
from .joints import end_xy
from .lines import Lines
from .near import LineIndex
from .nearest import nearest_places
from .pieces import Nodes, Pieces, Places

_ROLE_ORDER = ("outlet_pipe", "main", "submain", None, "lateral")  # whose end an outlet rather belongs to


@dataclass(frozen=True)
class Outlets:
    """Nodes where water leaves; `structure` is the row in Structures or -1; `assumed` where nobody marked one."""

    node: np.ndarray
    structure: np.ndarray
    assumed: np.ndarray

    def __len__(self) -> int:
        return len(self.node)


@dataclass(frozen=True)
class OutletPlaces:
    """Outlet structures on pipes: row in Structures, line, distance along it; and the rows that lie on no pipe."""

    structure: np.ndarray
    line: np.ndarray
    at_m: np.ndarray
    off_pipe: np.ndarray

    def as_places(self) -> Places:
        return Places(self.line, self.at_m, np.arange(len(self.line)))


def place_outlets(
    lines: Lines, drains: Drains, structures: Structures, index: LineIndex, tolerance_m: float
) -> OutletPlaces:
    """Put each outlet structure on its pipe: an end within the tolerance before the middle of a pipe."""
    rows = np.flatnonzero(structures.kind == "outlet")
    query, line = index.within(structures.xy_m[rows], tolerance_m)
    row = rows[query]
    at, distance = nearest_places(lines, line, structures.xy_m[row])
    to_start, to_end = (np.hypot(*(end_xy(lines)[2 * line + k] - structures.xy_m[row]).T) for k in (0, 1))
    near_end = np.minimum(to_start, to_end) <= tolerance_m
    at = np.where(near_end, np.where(to_start <= to_end, 0.0, lines.length_m[line]), at)
    role = drains.role[lines.drain[line]]
    rank = np.array([_ROLE_ORDER.index(r) if r in _ROLE_ORDER else 3 for r in role], dtype=np.int64)
    order = np.lexsort((line, distance, rank, ~near_end, row))
    row, line, at = row[order], line[order], at[order]
    first = np.ones(len(row), dtype=bool)
    first[1:] = row[1:] != row[:-1]
    return OutletPlaces(row[first], line[first], at[first], np.setdiff1d(rows, row))


def marks_outlet(lines: Lines, drains: Drains, active: np.ndarray, placed: OutletPlaces) -> bool:
    """Whether somebody marked an outlet: a structure on a pipe, or a pipe that is an outlet pipe."""
    return len(placed.line) > 0 or bool((drains.role[lines.drain[active]] == "outlet_pipe").any())


def find_outlets(
    placed: OutletPlaces,
    placed_node: np.ndarray,
    lines: Lines,
    drains: Drains,
    pieces: Pieces,
    nodes: Nodes,
    component: np.ndarray,
    proposed_end: np.ndarray,
    level_m: np.ndarray,
    *,
    assume: bool,
) -> Outlets:
    """The outlets of all systems. `component` and `level_m` (lowest known invert) go by node.

    `proposed_end`: ends that propose a joint; where a pipe is to be joined it does not end in the open. `assume`:
    nobody marked an outlet, so the free ends of single mains count.
    """
    node, first = np.unique(placed_node, return_index=True)
    structure, assumed = placed.structure[first], np.zeros(len(node), dtype=bool)
    served = np.zeros(component.max() + 1 if len(component) else 0, dtype=bool)
    served[component[node]] = True
    free = _free_end_nodes(lines, pieces, nodes, proposed_end)
    role = drains.role[lines.drain]
    pipe_end = np.unique(nodes.of_end[free & np.repeat(role == "outlet_pipe", 2)])
    pipe_end = pipe_end[~served[component[pipe_end]]]
    if len(pipe_end):
        pipe_end = _lowest_of_each(pipe_end, component, level_m)
    guessed = np.zeros(0, dtype=np.int64)
    if assume:
        guessed = _ends_of_single_mains(role == "main", pieces, nodes, free, component, level_m)
    return Outlets(
        np.concatenate([node, pipe_end, guessed]).astype(np.int64),
        np.concatenate([structure, np.full(len(pipe_end) + len(guessed), -1)]).astype(np.int64),
        np.concatenate([assumed, np.zeros(len(pipe_end), dtype=bool), np.ones(len(guessed), dtype=bool)]),
    )


def _free_end_nodes(lines: Lines, pieces: Pieces, nodes: Nodes, proposed_end: np.ndarray) -> np.ndarray:
    """For every end: whether nothing else joins there and nothing is proposed to."""
    degree = np.bincount(np.concatenate([pieces.node_from, pieces.node_to]), minlength=len(nodes))
    free = nodes.of_end >= 0
    free[free] = degree[nodes.of_end[free]] == 1
    free[proposed_end] = False
    return free


def _lowest_of_each(node: np.ndarray, component: np.ndarray, level_m: np.ndarray) -> np.ndarray:
    """Of the free ends of one system the lowest; where levels are unknown, only a single free end counts."""
    kept = []
    for system in np.unique(component[node]):
        ends = node[component[node] == system]
        if len(ends) == 1:
            kept.append(ends[0])
        elif np.isfinite(level_m[ends]).all():
            kept.append(ends[np.argmin(level_m[ends])])
    return np.array(kept, dtype=np.int64)


def _ends_of_single_mains(
    is_main: np.ndarray, pieces: Pieces, nodes: Nodes, free: np.ndarray, component: np.ndarray, level_m: np.ndarray
) -> np.ndarray:
    """The free end of the one main of each system that has just one; a main may be drawn as several drains."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import connected_components

    main_piece = is_main[pieces.line]
    a, b = pieces.node_from[main_piece], pieces.node_to[main_piece]
    if not len(a):
        return np.zeros(0, dtype=np.int64)
    graph = csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(len(nodes), len(nodes)))
    run = connected_components(graph, directed=False)[1]
    pair = np.unique(np.column_stack([component[a], run[a]]), axis=0)
    system, count = np.unique(pair[:, 0], return_counts=True)
    single = np.isin(component, system[count == 1])
    ends = np.unique(nodes.of_end[free & np.repeat(is_main, 2)])
    ends = ends[single[ends]]
    return _lowest_of_each(ends, component, level_m) if len(ends) else ends
