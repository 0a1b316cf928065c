"""What a check may look at."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..county import County
from ..elevation.ground import GroundProfile
from ..limits import Limits
from ..network.network import Network
from ..tables import Drains, Land, Trees
from ..units import Units


@dataclass(frozen=True)
class Case:
    """A county with its surroundings. `trees` and `land` are None where no layer was given."""

    county: County
    trees: Trees | None = None
    land: Land | None = None
    ground_name: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def network(self) -> Network:
        return self.county.network

    @property
    def drains(self) -> Drains:
        return self.county.network.drains

    @property
    def limits(self) -> Limits:
        return self.county.limits

    @property
    def units(self) -> Units:
        return self.county.units

    @property
    def ground(self) -> GroundProfile | None:
        return self.county.ground

    def name_of_line(self, line: np.ndarray) -> np.ndarray:
        """What people call the drain of each line."""
        return self.drains.name[self.network.lines.drain[line]]

    @cached_property
    def contradicted_lines(self) -> np.ndarray:
        """Lines on which the inverts contradict the only outlet of their system (see network.contradiction)."""
        from ..network.contradiction import contradicted

        return contradicted(self.network, self.limits).line
