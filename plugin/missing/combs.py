"""Laterals that lie side by side: which are next to each other, how far apart, in order across."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..county import County
from ..land.spacing import LOOKED_AT, NEARLY_PARALLEL, direction_of, line_of_vertices, segments_of
from ..network.lines import Lines

_APART_M = 0.5  # closer lines are one line drawn twice
_LEAST_LENGTH_M = 10.0


@dataclass(frozen=True)
class Combs:
    """Laterals in order across: rows of one comb follow one another.

    `gap_m` is the distance to the next of the comb, NaN for its last; `turned`: drawn against the first of its comb.
    """

    line: np.ndarray
    comb: np.ndarray
    gap_m: np.ndarray
    turned: np.ndarray

    def __len__(self) -> int:
        return len(self.line)

    @property
    def last(self) -> np.ndarray:
        """Whether a row is the last of its comb."""
        return np.append(self.comb[1:] != self.comb[:-1], True)[: len(self)]


def find_combs(county: County, teeth: float) -> Combs:
    """Combs of laterals, and of pipe of unknown role; `teeth`: how many may be missing between two neighbours."""
    net = county.network
    role = net.drains.role[net.lines.drain]
    chosen = net.used & ((role == "lateral") | np.equal(role, None)) & (net.lines.length_m >= _LEAST_LENGTH_M)
    spacing_m = np.where(np.isnan(county.served.spacing_m), county.limits["default_spacing"], county.served.spacing_m)
    one, other, apart_m, against = _neighbours(net.lines, chosen, (teeth + 1.4) * spacing_m)
    return _in_order(one, other, apart_m, against, len(net.lines))


def _neighbours(
    lines: Lines, chosen: np.ndarray, reach_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Pairs that are each other's nearest parallel line on some side, seen from most of their quarter points.

    Every pair once: the two lines, their distance, and whether they are drawn against each other.
    """
    rows = np.flatnonzero(chosen)
    line = np.repeat(rows, len(LOOKED_AT))
    at_m = lines.length_m[line] * np.tile(LOOKED_AT, len(rows))
    here, along = lines.points_at(line, at_m), direction_of(lines, lines.segment_at(line, at_m))
    segment = segments_of(lines, chosen)
    tree = shapely.STRtree(shapely.linestrings(lines.xy[segment[:, None] + np.array([0, 1])]))
    place, hit = tree.query(shapely.points(here), predicate="dwithin", distance=reach_m[line])
    hit = segment[hit]
    apart = line_of_vertices(lines)[hit] != line[place]
    place, hit = place[apart], hit[apart]
    step = direction_of(lines, hit)
    offset = here[place] - lines.xy[hit]
    foot_m = (offset * step).sum(axis=1)
    away_m = np.abs(step[:, 0] * offset[:, 1] - step[:, 1] * offset[:, 0])
    cosine = (step * along[place]).sum(axis=1)
    good = (foot_m >= -1e-6) & (foot_m <= lines.along_m[hit + 1] - lines.along_m[hit] + 1e-6)
    good &= (np.abs(cosine) >= NEARLY_PARALLEL) & (away_m > _APART_M)
    left = along[place, 0] * -offset[:, 1] - along[place, 1] * -offset[:, 0] > 0
    place, hit, away_m, cosine, left = place[good], hit[good], away_m[good], cosine[good], left[good]
    key = 2 * place + left
    order = np.lexsort((away_m, key))
    nearest = order[np.diff(key[order], prepend=-1) > 0]
    other = line_of_vertices(lines)[hit[nearest]]
    return _agreed(line[place[nearest]], left[nearest], other, away_m[nearest], cosine[nearest] < 0, len(lines))


def _agreed(
    line: np.ndarray, left: np.ndarray, other: np.ndarray, apart_m: np.ndarray, against: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Neighbours seen from at least two of the three quarter points, from both lines."""
    seen, back, votes = np.unique(
        (line * 2 + left) * count + other, return_inverse=True, return_counts=True
    )
    back = back.ravel()
    most = votes * 2 > len(LOOKED_AT)
    mean_m = np.bincount(back, apart_m, minlength=len(seen)) / votes
    turned = np.bincount(back, against, minlength=len(seen)) * 2 > votes
    one, two = seen[most] // (2 * count), seen[most] % count
    mean_m, turned = mean_m[most], turned[most]
    pair = np.minimum(one, two) * count + np.maximum(one, two)
    _, first, times = np.unique(pair, return_index=True, return_counts=True)
    first = first[times == 2]
    return one[first], two[first], mean_m[first], turned[first]


def _in_order(one: np.ndarray, two: np.ndarray, apart_m: np.ndarray, against: np.ndarray, count: int) -> Combs:
    """Walk along all chains of neighbours at once, each from one of its ends."""
    links = np.arange(len(one))
    tail, head = np.concatenate([one, two]), np.concatenate([two, one])  # each link both ways
    back = np.concatenate([links + len(one), links])
    degree = np.bincount(tail, minlength=count)
    order = np.argsort(tail, kind="stable")
    first = np.searchsorted(tail[order], np.arange(count))
    onward = np.full(len(tail), -1)  # the link that leads on from the head of each
    middle = np.flatnonzero(degree[head] == 2)
    a, b = order[first[head[middle]]], order[first[head[middle]] + 1]
    onward[middle] = np.where(a == back[middle], b, a)
    graph = csr_matrix((np.ones(len(one), dtype=np.int8), (one, two)), shape=(count, count))
    chain = connected_components(graph, directed=False)[1]
    ends = np.flatnonzero(degree[tail] == 1)
    now = ends[np.unique(chain[tail[ends]], return_index=True)[1]]
    # the first line of each chain, then the head of every link on the way
    line, step, by = [tail[now]], [np.zeros(len(now), dtype=np.int64)], [np.full(len(now), -1)]
    while len(now):
        line.append(head[now])
        step.append(np.full(len(now), len(step)))
        by.append(now)
        now = onward[now]
        now = now[now >= 0]
    line, step, by = (np.concatenate(parts) for parts in (line, step, by))
    sorted_ = np.lexsort((step, chain[line]))
    line, by = line[sorted_], by[sorted_]
    follows = np.flatnonzero(by >= 0)
    gap_m = np.full(len(line), np.nan)
    gap_m[follows - 1] = np.tile(apart_m, 2)[by[follows]]
    sign = np.ones(len(line), dtype=np.int64)
    sign[follows] = np.where(np.tile(against, 2)[by[follows]], -1, 1)
    along = np.cumprod(sign)
    begin = np.maximum.accumulate(np.where(by < 0, np.arange(len(line)), 0))
    return Combs(line, chain[line], gap_m, along * along[begin] * sign[begin] < 0)
