"""The pipe that stays at both ends of a reroute, and where trees stand at it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..county import County
from ..network.near_trees import near_trees
from ..network.trace import Downstream, PlaceOnPipe
from ..tables import Trees


@dataclass(frozen=True)
class Way:
    """Pieces one after another from a tie-in on: each with its stretch, and how far from the tie-in it begins.

    `toward_end`: whether the stretch is walked from `from_m` to `to_m` or the other way.
    """

    piece: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    toward_end: np.ndarray

    @property
    def begins_m(self) -> np.ndarray:
        length = self.to_m - self.from_m
        return np.cumsum(length) - length


def way_down(county: County, below: Downstream) -> Way:
    """From a place to its outlet."""
    pieces, direction = county.network.pieces, county.network.direction
    from_m, to_m = pieces.from_m[below.pieces].copy(), pieces.to_m[below.pieces].copy()
    from_m[0], to_m[0] = below.from_m, below.to_m
    return Way(below.pieces, from_m, to_m, direction[below.pieces] >= 0)


def way_up(county: County, place: PlaceOnPipe) -> Way:
    """From a place up the stem: at every joint the piece with the most pipe above it."""
    network, pieces = county.network, county.network.pieces
    first = place.piece
    down_drawing = network.direction[first] >= 0
    ways = [(first, pieces.from_m[first], place.at_m) if down_drawing else (first, place.at_m, pieces.to_m[first])]
    if network.direction[first]:
        weight = np.nan_to_num(county.length_above_m, nan=-1.0)
        seen, node = {first}, network.node_up[first]
        while True:
            above = np.flatnonzero((network.node_down == node) & (network.direction != 0))
            above = [piece for piece in above.tolist() if piece not in seen]
            if not above:
                break
            piece = max(above, key=lambda one: weight[one])
            ways.append((piece, pieces.from_m[piece], pieces.to_m[piece]))
            seen.add(piece)
            node = network.node_up[piece]
    piece, from_m, to_m = (np.array(column) for column in zip(*ways))
    return Way(piece, from_m, to_m, network.direction[piece] < 0)


@dataclass(frozen=True)
class KeptNearTrees:
    """Stretches of kept pipe near trees; `whole_m` is the length of the connected stretch each is part of.

    `starts_m`: how far from the tie-in that stretch begins.
    """

    line: np.ndarray
    from_m: np.ndarray
    to_m: np.ndarray
    tree: np.ndarray
    distance_m: np.ndarray
    limit_m: np.ndarray
    thirst_unknown: np.ndarray
    whole_m: np.ndarray
    starts_m: np.ndarray


def kept_near_trees(county: County, way: Way, trees: Trees) -> KeptNearTrees:
    """Pipe on the way that roots can enter, near trees, where it begins within the longest tree distance."""
    network = county.network
    line = network.pieces.line[way.piece]
    closed = network.drains.openings[network.piece_drain[way.piece]] == "none"
    found = near_trees(network.lines, np.unique(line[~closed]), trees, county.limits)
    step, row = np.nonzero((line[:, None] == found.line) & ~closed[:, None])
    from_m, to_m = np.maximum(way.from_m[step], found.from_m[row]), np.minimum(way.to_m[step], found.to_m[row])
    keep = to_m - from_m > 1e-6
    step, row, from_m, to_m = step[keep], row[keep], from_m[keep], to_m[keep]
    begins_m = way.begins_m[step] + np.where(way.toward_end[step], from_m - way.from_m[step], way.to_m[step] - to_m)
    order = np.argsort(begins_m, kind="stable")
    step, row, from_m, to_m, begins_m = step[order], row[order], from_m[order], to_m[order], begins_m[order]
    ends_m = begins_m + to_m - from_m
    new = np.ones(len(step), dtype=bool)
    new[1:] = begins_m[1:] - ends_m[:-1] > 0.01
    group = np.cumsum(new) - 1
    whole_m = np.bincount(group, to_m - from_m)[group] if len(group) else np.zeros(0)
    starts_m = begins_m[new][group]
    near = starts_m <= county.limits["tree_distance_high"]
    row = row[near]
    return KeptNearTrees(
        line[step[near]], from_m[near], to_m[near], found.tree[row], found.distance_m[row], found.limit_m[row],
        found.thirst_unknown[row], whole_m[near], starts_m[near],
    )
