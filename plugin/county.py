"""A network with the land it serves, its grades and its sums: what checks, traces and maps ask for.

Everything is worked out when first asked for and kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from .elevation.evidence import Evidence
from .elevation.ground import GroundProfile
from .elevation.runs import grade_runs
from .hydraulics.manning import full_flow_capacity_m3_s, roughness
from .land.served import ServedLand, served_land
from .limits import Limits
from .network.by_ground import flow_by_ground
from .network.contradiction import Contradicted, contradicted
from .network.flow import Downward, sort_down
from .network.grades import Grades, PieceGrades, call_pieces, direct_runs
from .network.loss import Lost, find_losses
from .network.network import Network
from .units import Units

CONSTANT_INFLOW = "constant_inflow"


@dataclass(frozen=True)
class Inflow:
    """Constant inflows on pipes: row in structures, line and place, flow."""

    structure: np.ndarray
    line: np.ndarray
    at_m: np.ndarray
    flow_m3_s: np.ndarray


@dataclass(frozen=True)
class County:
    """The network under the limits in force; `ground` is the ground along its lines where a raster was given."""

    network: Network
    limits: Limits
    units: Units
    ground: GroundProfile | None = None

    @cached_property
    def served(self) -> ServedLand:
        return served_land(self.network.lines, self.network.drains, self.limits, self.network.used)

    @cached_property
    def piece_area_m2(self) -> np.ndarray:
        """Land served by each piece itself."""
        pieces = self.network.pieces
        return self.served.area_of(pieces.line, pieces.from_m, pieces.to_m)

    @cached_property
    def down(self) -> Downward:
        net = self.network
        return sort_down(
            net.pieces.node_from, net.pieces.node_to, net.direction, net.open_both_ways, len(net.nodes),
            self._carrying_weight, net.outlets.node,
        )

    @cached_property
    def _carrying_weight(self) -> np.ndarray:
        """Full-flow capacity of the pieces that leave a split, where size and fall are known; NaN elsewhere."""
        net = self.network
        weight = np.full(len(net.pieces), np.nan)
        leaving = np.bincount(net.node_up[net.direction != 0], minlength=len(net.nodes))
        rows = np.flatnonzero((net.direction != 0) & (leaving[net.node_up] > 1))
        line, pieces, drain = net.pieces.line[rows], net.pieces, net.piece_drain[rows]
        top = net.levels.level_at(line, np.where(net.direction[rows] > 0, pieces.from_m[rows], pieces.to_m[rows]))
        foot = net.levels.level_at(line, np.where(net.direction[rows] > 0, pieces.to_m[rows], pieces.from_m[rows]))
        grade = np.maximum((top - foot) / pieces.length_m[rows], 0.0)
        diameter = net.drains.diameter_m[drain]
        n = roughness(net.drains.material[drain], diameter, self.limits)
        weight[rows] = full_flow_capacity_m3_s(diameter, np.where(grade > 0, grade, np.nan), n)
        return weight

    @cached_property
    def area_above_m2(self) -> np.ndarray:
        """Land that drains through the lower end of each piece by way of the piece; NaN where the flow is unknown."""
        return self._known(self.down.sum_down(self.piece_area_m2))

    @cached_property
    def length_above_m(self) -> np.ndarray:
        return self._known(self.down.sum_down(self.network.pieces.length_m))

    @cached_property
    def losses(self) -> Lost:
        return find_losses(self.network, self.down)

    @cached_property
    def area_lost_m2(self) -> np.ndarray:
        """Land that has no way to an outlet left when the piece is plugged at its lower end; NaN: flow unknown."""
        return self.losses.lost(self.piece_area_m2)

    def _known(self, total: np.ndarray) -> np.ndarray:
        unknown = (self.network.direction == 0) & ~self.network.open_both_ways
        return np.where(unknown, np.nan, total)

    @cached_property
    def inflows(self) -> Inflow:
        """Structures of kind constant_inflow on the nearest pipe within the join tolerance."""
        net = self.network
        rows = np.flatnonzero((net.structures.kind == CONSTANT_INFLOW) & np.isfinite(net.structures.flow_m3_s))
        used, tree = net.line_index
        points = shapely.points(net.structures.xy_m[rows])
        query, hit = tree.query(points, predicate="dwithin", distance=max(net.tolerance_m, 1e-6))
        distance = shapely.distance(points[query], net.lines.geometry[used[hit]])
        order = np.lexsort((hit, distance, query))
        query, nearest = np.unique(query[order], return_index=True)
        line = used[hit[order][nearest]]
        at = shapely.line_locate_point(net.lines.geometry[line], points[query])
        return Inflow(rows[query], line, at, net.structures.flow_m3_s[rows[query]])

    @cached_property
    def evidence(self) -> Evidence:
        """All that is known of the inverts."""
        net = self.network
        return Evidence(net.lines, net.drains, net.levels.points, self.ground, self.limits)

    @cached_property
    def grades(self) -> Grades:
        """Grade runs in flow direction, and what no run covers."""
        runs = grade_runs(self.evidence, *self._structure_places)
        return direct_runs(self.network, runs, self.limits, self.contradicted.line)

    @cached_property
    def contradicted(self) -> Contradicted:
        """Where the inverts contradict the only outlet of a system."""
        return contradicted(self.network, self.limits)

    @cached_property
    def piece_grades(self) -> PieceGrades:
        return call_pieces(self.network, self.grades)

    @cached_property
    def _structure_places(self) -> tuple[np.ndarray, np.ndarray]:
        """Line and place of every structure on a pipe but joints: grades are judged between them."""
        net = self.network
        rows = np.flatnonzero(net.structures.kind != "joint")
        used, tree = net.line_index
        points = shapely.points(net.structures.xy_m[rows])
        query, hit = tree.query(points, predicate="dwithin", distance=max(net.tolerance_m, 1e-6))
        line = used[hit]
        return line, shapely.line_locate_point(net.lines.geometry[line], points[query])


def drained(county: County) -> County:
    """The county with flow by the ground where nothing better tells; itself where the ground adds nothing."""
    network = flow_by_ground(county.network, county.evidence)
    return county if network is county.network else replace(county, network=network)
