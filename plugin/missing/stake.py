"""Which pipe hangs together, what of it reaches no outlet, and the land behind it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..county import County


@dataclass(frozen=True)
class Systems:
    """Systems of a county by number, as they are (`joined` false) or as if all proposed joints were there.

    What reaches an outlet by a proposed joint lacks that joint, and no pipe.
    """

    county: County
    joined: bool

    @cached_property
    def of_node(self) -> np.ndarray:
        net = self.county.network
        return net.component_if_joined if self.joined else net.component

    @cached_property
    def of_piece(self) -> np.ndarray:
        return self.of_node[self.county.network.pieces.node_from]

    @cached_property
    def of_line(self) -> np.ndarray:
        """System of every line, -1 for those that are not in the network."""
        system = np.full(len(self.county.network.lines), -1, dtype=np.int64)
        system[self.county.network.pieces.line] = self.of_piece
        return system

    @property
    def count(self) -> int:
        return int(self.of_node.max()) + 1 if len(self.of_node) else 0

    @cached_property
    def has_outlet(self) -> np.ndarray:
        served = np.zeros(self.count, dtype=bool)
        served[self.of_node[self.county.network.outlets.node]] = True
        return served

    @cached_property
    def area_m2(self) -> np.ndarray:
        """Land that every system serves."""
        return np.bincount(self.of_piece, self.county.piece_area_m2, minlength=self.count)

    @cached_property
    def nowhere_m2(self) -> np.ndarray:
        """The same where it drains to no outlet, 0 elsewhere."""
        return np.where(self.has_outlet, 0.0, self.area_m2)
