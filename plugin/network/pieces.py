"""From joints to pieces: stretches of line between neighbouring nodes.

Every end and every place where something joins is an attachment; attachments that meet are one node.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..elevation.along import running_m
from .joints import Joints, end_at_m, end_xy
from .lines import Lines


@dataclass(frozen=True)
class Pieces:
    """Stretch `from_m` to `to_m` of line `line`, from node `node_from` to node `node_to` in drawn direction.

    `direction` is +1 where water flows from node_from to node_to, -1 the other way, 0 where that is not
    known or the piece is open both ways. `system` numbers what hangs together, from 0.
    """

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    node_from: np.ndarray
    node_to: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    @property
    def length_m(self) -> np.ndarray:
        return self.to_m - self.from_m

    def where(self, keep: np.ndarray) -> Pieces:
        return Pieces(self.line[keep], self.from_m[keep], self.to_m[keep], self.node_from[keep], self.node_to[keep])


@dataclass(frozen=True)
class Nodes:
    """Coordinates of the nodes, and for every end of every line its node (-1: the line carries nothing)."""

    xy: np.ndarray
    of_end: np.ndarray

    def __len__(self) -> int:
        return len(self.xy)


@dataclass(frozen=True)
class Places:
    """Places on lines that must become nodes; those with the same `group` (0 and up) become one node."""

    line: np.ndarray
    at_m: np.ndarray
    group: np.ndarray

    @classmethod
    def none(cls) -> Places:
        empty = np.zeros(0, dtype=np.int64)
        return cls(empty, np.zeros(0), empty)

    def joined(self, other: Places) -> Places:
        """Both together, the groups of `other` counted on."""
        shift = self.group.max() + 1 if len(self.group) else 0
        return Places(
            np.concatenate([self.line, other.line]),
            np.concatenate([self.at_m, other.at_m]),
            np.concatenate([self.group, other.group + shift]),
        )


def make_pieces(
    lines: Lines, active: np.ndarray, joints: Joints, places: Places, exact_m: float, tolerance_m: float
) -> tuple[Pieces, Nodes, np.ndarray]:
    """Pieces, nodes, and the node of every row of `places`."""
    line, at = _attachments(lines, joints, places)
    order = np.argsort(running_m(lines, line, at), kind="stable")
    pairs = _overlapping_ends(lines, joints, tolerance_m) + _closed_lines(lines, exact_m)
    label = _merge_meeting(lines, joints, places, order, line, at, pairs, exact_m)
    node, node_count = _numbered(label, active[line])
    order = order[node[order] >= 0]
    line_s, at_s, node_s = line[order], at[order], node[order]
    follows = line_s[1:] == line_s[:-1]
    begin, end = np.flatnonzero(follows), np.flatnonzero(follows) + 1
    pieces = Pieces(line_s[begin], at_s[begin], at_s[end], node_s[begin], node_s[end])
    short_loop = (pieces.node_from == pieces.node_to) & (pieces.length_m <= max(2.0 * tolerance_m, exact_m))
    pieces = pieces.where((pieces.length_m > 0.0) & ~short_loop)
    xy = _node_places(lines, line, at, node, node_count)
    ends = 2 * len(lines)
    return pieces, Nodes(xy, node[:ends]), node[ends + len(joints):]


def _numbered(label: np.ndarray, kept: np.ndarray) -> tuple[np.ndarray, int]:
    """Labels of the kept ones counted from 0 without gaps, -1 for the others; and how many there are."""
    used = np.zeros(label.max() + 1 if len(label) else 0, dtype=bool)
    used[label[kept]] = True
    return np.where(kept, (np.cumsum(used) - 1)[label], -1), int(used.sum())


def _node_places(lines: Lines, line: np.ndarray, at: np.ndarray, node: np.ndarray, count: int) -> np.ndarray:
    """Coordinates of nodes: on the pipe that is met along its way; where only ends meet, in their middle.

    The first rows are the ends of all lines; -1 is no node.
    """
    inside = np.flatnonzero((at > 0.0) & (at < lines.length_m[line]) & (node >= 0))
    met = np.bincount(node[inside], minlength=count) > 0
    free = np.flatnonzero(node[: 2 * len(lines)] >= 0)
    free = free[~met[node[free]] & ((at[free] == 0.0) | (at[free] == lines.length_m[line[free]]))]
    xy = np.concatenate([lines.points_at(line[inside], at[inside]), end_xy(lines)[free]])
    node = np.concatenate([node[inside], node[free]])
    of_node = np.maximum(np.bincount(node, minlength=count), 1)
    first = np.zeros((count, 2))
    first[node] = xy  # sums of small differences keep all digits of large coordinates
    away = xy - first[node]
    return first + np.column_stack([np.bincount(node, away[:, k], minlength=count) / of_node for k in (0, 1)])


def _attachments(lines: Lines, joints: Joints, places: Places) -> tuple[np.ndarray, np.ndarray]:
    """Line and distance of the ends of all lines, then of places met by joints, then of the further places."""
    ends = 2 * len(lines)
    own_at = end_at_m(lines)
    overshoot = joints.own_at_m != own_at[joints.end]
    own_at[joints.end[overshoot]] = joints.own_at_m[overshoot]
    line = np.concatenate([np.arange(ends) // 2, joints.other, places.line])
    at = np.concatenate([own_at, joints.at_m, places.at_m])
    low, high = own_at[0::2][line], own_at[1::2][line]  # nothing joins on the stub beyond an overshoot
    return line, np.clip(at, low, high)


def _merge_meeting(
    lines: Lines,
    joints: Joints,
    places: Places,
    order: np.ndarray,
    line: np.ndarray,
    at: np.ndarray,
    end_pairs: list[np.ndarray],
    exact_m: float,
) -> np.ndarray:
    """A label for every attachment; those that meet have the same one. `order`: by line and place."""
    ends, count = 2 * len(lines), len(line)
    close = (line[order][1:] == line[order][:-1]) & (np.diff(at[order]) <= exact_m)
    by_group = np.argsort(places.group, kind="stable") + ends + len(joints)
    grouped = np.sort(places.group)
    same = grouped[1:] == grouped[:-1]
    a = np.concatenate([joints.end, order[:-1][close], by_group[:-1][same], *end_pairs[0::2]])
    b = np.concatenate([ends + np.arange(len(joints)), order[1:][close], by_group[1:][same], *end_pairs[1::2]])
    graph = csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(count, count))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _overlapping_ends(lines: Lines, joints: Joints, tolerance_m: float) -> list[np.ndarray]:
    """Ends of two lines that run on each other a little way: each end lies on the other line, one joint is meant."""
    length = lines.length_m[joints.other]
    at_far_end = joints.at_m > length / 2
    near_end = 2 * joints.other + at_far_end
    to_end = np.where(at_far_end, length - joints.at_m, joints.at_m)
    count = 2 * len(lines)
    short = ~joints.at_end & (to_end <= tolerance_m)
    pair, back = joints.end * count + near_end, near_end * count + joints.end
    mutual = short & np.isin(pair, back[short])
    return [joints.end[mutual], near_end[mutual]]


def _closed_lines(lines: Lines, exact_m: float) -> list[np.ndarray]:
    """Both ends of lines that end where they begin."""
    gap = lines.xy[lines.first[1:] - 1] - lines.xy[lines.first[:-1]]
    closed = np.flatnonzero(np.hypot(*gap.T) <= exact_m)
    return [2 * closed, 2 * closed + 1]
