"""All that is known about how high the pipes of a case lie, and the best invert at any place."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..limits import Limits
from ..network.lines import Lines
from ..tables import Drains
from .along import between
from .ground import GroundProfile
from .points import InvertPoints
from .sources import Source

_MAIN_ROLES = ("main", "submain", "outlet_pipe")


@dataclass(frozen=True)
class Inverts:
    """Inverts at places: elevation and standard error in metres, NaN and `Source.NONE` where unknown."""

    z_m: np.ndarray
    sigma_m: np.ndarray
    source: np.ndarray


@dataclass(frozen=True)
class Evidence:
    """Measured inverts, stated depths and the ground (None: no ground given) of one set of lines."""

    lines: Lines
    drains: Drains
    points: InvertPoints
    ground: GroundProfile | None
    limits: Limits

    @cached_property
    def _drain_length_m(self) -> np.ndarray:
        return np.bincount(self.lines.drain, self.lines.length_m, minlength=len(self.drains))

    @cached_property
    def _depth_ends_m(self) -> tuple[np.ndarray, np.ndarray]:
        """Depth at start and end of each drain; one given end stands for both, none: the usual depth of its role."""
        start, end = self.drains.depth_start_m, self.drains.depth_end_m
        main = np.isin(self.drains.role.astype(str), _MAIN_ROLES)
        usual = np.where(main, self.limits["default_depth_main"], self.limits["default_depth_lateral"])
        either = np.where(np.isnan(start), end, start)
        either = np.where(np.isnan(either), usual, either)
        return np.where(np.isnan(start), either, start), np.where(np.isnan(end), either, end)

    @cached_property
    def depth_source(self) -> np.ndarray:
        """Source of each drain's depth below ground, by drain."""
        stated = np.isfinite(self.drains.depth_start_m) | np.isfinite(self.drains.depth_end_m)
        probed = self.drains.located_by == "probe"
        return np.select(
            [stated & probed, stated], [Source.PROBED_DEPTH, Source.STATED_DEPTH], Source.DEFAULT_DEPTH
        )

    @cached_property
    def depth_error_m(self) -> np.ndarray:
        """Standard error of each drain's depth, by drain."""
        errors = np.full(len(Source), np.nan)
        errors[Source.PROBED_DEPTH] = self.limits["error_probe"]
        errors[Source.STATED_DEPTH] = self.limits["error_depth_stated"]
        errors[Source.DEFAULT_DEPTH] = self.limits["error_depth_default"]
        return errors[self.depth_source]

    @cached_property
    def below_ground_sigma_m(self) -> np.ndarray:
        """Standard error of an invert had from the ground less the depth, by drain: both errors in squares."""
        return np.hypot(self.limits["ground_error"], self.depth_error_m)

    def depth_m(self, line: np.ndarray, at_m: np.ndarray) -> np.ndarray:
        """Stated or usual depth from ground to invert at places, straight along the drain."""
        drain = self.lines.drain[line]
        start, end = self._depth_ends_m
        share = self.lines.station_m(line, at_m) / self._drain_length_m[drain]
        return start[drain] + share * (end[drain] - start[drain])

    def measured_at(self, line: np.ndarray, at_m: np.ndarray, among: slice = slice(None)) -> Inverts:
        """Inverts at and between measured points of the same line; unknown elsewhere. `among`: the points to look at.

        The error runs straight between those of the two points, since the pipe need not be straight; the
        source is the less trusted of the two.
        """
        points = self.points
        z_m, sigma_m, of_point = points.z_m[among], points.sigma_m[among], points.source[among]
        nodes = between(self.lines, points.line[among], points.at_m[among], line, at_m)
        source = np.full(len(nodes.low), int(Source.NONE))
        low, high = nodes.low[nodes.inside], nodes.high[nodes.inside]
        source[nodes.inside] = np.maximum(of_point[low], of_point[high])
        return Inverts(nodes.straight(z_m), nodes.straight(sigma_m), source)

    def below_ground_at(self, line: np.ndarray, at_m: np.ndarray) -> Inverts:
        """Inverts had from the ground less the depth; unknown where there is no ground."""
        line = np.asarray(line, dtype=np.int64)
        if self.ground is None:
            unknown = np.full(len(line), np.nan)
            return Inverts(unknown, unknown, np.full(len(line), int(Source.NONE)))
        z_m = self.ground.at(line, at_m) - self.depth_m(line, at_m)
        known = np.isfinite(z_m)
        drain = self.lines.drain[line]
        return Inverts(
            z_m,
            np.where(known, self.below_ground_sigma_m[drain], np.nan),
            np.where(known, self.depth_source[drain], int(Source.NONE)),
        )

    def invert_at(self, line: np.ndarray, at_m: np.ndarray) -> Inverts:
        """The best invert at each place: measured, else ground less depth, else unknown. Neighbours lend none."""
        measured = self.measured_at(line, at_m)
        below = self.below_ground_at(line, at_m)
        known = measured.source != Source.NONE
        return Inverts(
            np.where(known, measured.z_m, below.z_m),
            np.where(known, measured.sigma_m, below.sigma_m),
            np.where(known, measured.source, below.source),
        )
