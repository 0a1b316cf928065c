"""What a check may look at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..county import County
from ..elevation.cover import CoverJudged, judge_cover
from ..elevation.ground import GroundProfile
from ..limits import Limits
from ..network.network import Network
from ..tables import Drains, Land, Trees
from ..units import Units
from .edits import Edits


@dataclass(frozen=True)
class Case:
    """A county with its surroundings. `trees` and `land` are None where no layer was given.

    `ground_fault`: why the ground that was given could not be used; empty where it was. `contradiction_told`:
    whether elevation-contradicts-outlet is among the checks of this run. `asked`: the drains (a mask) that a check
    which looks far is asked about; None: all. `edits`: what the history tells; None where there is none.
    """

    county: County
    trees: Trees | None = None
    land: Land | None = None
    ground_fault: str = ""
    contradiction_told: bool = True
    asked: np.ndarray | None = None
    edits: Edits | None = None

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
        """What people call the drain of each line, with its key where that is another word."""
        drain = self.network.lines.drain[line]
        pairs = zip(self.drains.name[drain].tolist(), self.drains.drain_id[drain].tolist())
        return np.array([name if name == key else f"{name} ({key})" for name, key in pairs], dtype=object)

    @cached_property
    def cover(self) -> CoverJudged:
        """Earth above the pipes in the network, and their depth."""
        return judge_cover(
            self.county.evidence, self.network.used, self.limits["least_cover"], self.limits["greatest_depth"]
        )

    @property
    def contradicted_lines(self) -> np.ndarray:
        """Lines on which inverts contradict the only outlet: where that is told, no other check repeats it there."""
        return self.county.contradicted.line if self.contradiction_told else np.zeros(0, dtype=np.int64)
