"""From drawn drains to a network with joints, outlets, directions and sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from ..bulk import many_objects
from ..elevation.points import collect_points
from ..limits import Limits
from ..tables import Drains, Shots, Structures
from .direction import Flow, lowest_levels, orient, systems_of
from .duplicates import find_duplicates
from .joints import (
    Crossings,
    Joints,
    find_crossings,
    meeting_ends,
    nearest_proposals,
    one_for_each_meeting,
    snap_to_ends,
    trim_overshoots,
)
from .levels import Levels
from .lines import Lines, explode
from .near import LineIndex, NearPairs, near_pairs
from .network import Network
from .outlets import OutletPlaces, Outlets, find_outlets, marks_outlet, place_outlets
from .past_outlet import PastOutlet, find_past_outlet
from .pieces import Nodes, Pieces, Places, make_pieces
from .settled import Settled, settle_joints


@dataclass(frozen=True)
class Met:
    """What was found about meeting lines: made joints, proposals (and which are applied), crossings, settled places."""

    made: Joints
    proposed: Joints
    applied: np.ndarray
    crossings: Crossings
    settled: Settled

    @property
    def joining(self) -> Joints:
        """The joints in force."""
        return _together(self.made, self.proposed.where(self.applied))


def build_network(
    drains: Drains,
    structures: Structures | None = None,
    shots: Shots | None = None,
    *,
    limits: Limits | None = None,
    tolerance_m: float = 0.3,
    accept_proposed: bool = False,
    outlet_elsewhere: bool = False,
) -> Network:
    """Build the network of the drains in the ground.

    Ends and places within `tolerance_m` are proposed as joints, applied only with `accept_proposed` or where
    a structure of kind joint confirms them. Nothing is moved or changed; what could not be used is listed.
    `outlet_elsewhere`: the drains are part of a layer of which another part marks an outlet.
    """
    with many_objects():
        return _build(drains, structures, shots, limits or Limits(), tolerance_m, accept_proposed, outlet_elsewhere)


def _build(
    drains: Drains, structures: Structures | None, shots: Shots | None, limits: Limits, tolerance_m: float,
    accept_proposed: bool, outlet_elsewhere: bool,
) -> Network:
    structures = structures if structures is not None else Structures.none()
    shots = shots if shots is not None else Shots.none()
    lines, unusable = explode(drains.geometry)
    in_ground = drains.in_ground[lines.drain]
    index = LineIndex.of(lines, in_ground)
    pairs = near_pairs(lines, index, max(tolerance_m, limits["exact_joint"]))
    duplicates = find_duplicates(lines, pairs, tolerance_m)
    active = in_ground.copy()
    active[duplicates.line] = False
    index = index.among(active)
    points = collect_points(lines, drains, shots, limits, tolerance_m)
    met = _meet(lines, pairs.among(active), index, structures, limits["exact_joint"], tolerance_m)
    placed = place_outlets(lines, drains, structures, index, tolerance_m)
    marked = outlet_elsewhere or marks_outlet(lines, drains, active, placed)
    plan = _Plan(lines, drains, active, Levels(lines, points), limits["exact_joint"], tolerance_m, placed, marked)
    met = _drop_needless(plan, met)
    if accept_proposed:
        met = Met(met.made, met.proposed, np.ones(len(met.proposed), dtype=bool), met.crossings, met.settled)
    solved = plan.solve(met)
    return Network(
        drains=drains,
        structures=structures,
        shots=shots,
        lines=lines,
        active=active,
        duplicates=duplicates,
        unusable=unusable,
        levels=plan.levels,
        made=met.made,
        proposed=met.proposed,
        applied=met.applied,
        crossings=met.crossings,
        off_pipe_outlets=placed.off_pipe,
        pieces=solved.pieces,
        nodes=solved.nodes,
        component=solved.component,
        outlets=solved.outlets,
        flow=solved.flow,
        past_outlet=solved.past,
        assumed_divide_nodes=solved.assumed_divide_nodes,
        tolerance_m=tolerance_m,
        limits=limits,
        accept_proposed=accept_proposed,
    )


def _meet(
    lines: Lines,
    pairs: NearPairs,
    index: LineIndex,
    structures: Structures,
    exact_m: float,
    tolerance_m: float,
) -> Met:
    reach = max(tolerance_m, exact_m)
    near = snap_to_ends(meeting_ends(lines, pairs, reach), lines, exact_m)
    made = near.where(near.gap_m <= exact_m)
    open_end = np.ones(2 * len(lines), dtype=bool)
    open_end[made.end] = False
    proposed = nearest_proposals(near.where((near.gap_m > exact_m) & open_end[near.end]))
    proposed = trim_overshoots(one_for_each_meeting(proposed, lines, tolerance_m), lines, tolerance_m)
    crossings = find_crossings(lines, pairs, _together(made, proposed), tolerance_m)
    settled = settle_joints(lines, index, structures, tolerance_m)
    made, proposed, crossings, applied = settled.apply(lines, made, proposed, crossings)
    return Met(made, proposed, applied, crossings, settled)


def _together(first: Joints, second: Joints) -> Joints:
    return Joints(*(np.concatenate([getattr(first, f), getattr(second, f)]) for f in Joints.__dataclass_fields__))


def _drop_needless(plan: _Plan, met: Met) -> Met:
    """Two ends that both reach an outlet already need no joint between them."""
    proposed = met.proposed
    length = plan.lines.length_m[proposed.other]
    at_end = np.minimum(proposed.at_m, length - proposed.at_m) <= plan.tolerance_m
    if not at_end.any():
        return met
    reaches = _lines_with_outlet(plan, met)
    keep = ~(reaches[proposed.line] & reaches[proposed.other] & at_end) | met.applied
    return Met(met.made, proposed.where(keep), met.applied[keep], met.crossings, met.settled)


def _lines_with_outlet(plan: _Plan, met: Met) -> np.ndarray:
    """Lines that reach an outlet by the joints in force.

    Where all outlets are marked it is enough to know which lines hang together.
    """
    reaches = np.zeros(len(plan.lines), dtype=bool)
    if len(plan.placed.line) and not (plan.drains.role == "outlet_pipe").any():
        joints, places = met.joining, met.settled.places
        order = np.argsort(places.group, kind="stable")
        same = np.diff(places.group[order]) == 0
        a = np.concatenate([joints.line, places.line[order][:-1][same]])
        b = np.concatenate([joints.other, places.line[order][1:][same]])
        graph = csr_matrix((np.ones(len(a), dtype=np.int8), (a, b)), shape=(len(reaches), len(reaches)))
        system = connected_components(graph, directed=False)[1]
        return np.isin(system, system[plan.placed.line])
    solved = plan.solve(met)
    served = np.unique(solved.component[solved.outlets.node])
    reaches[solved.pieces.line[np.isin(solved.component[solved.pieces.node_from], served)]] = True
    return reaches


@dataclass(frozen=True)
class _Solved:
    pieces: Pieces
    nodes: Nodes
    component: np.ndarray
    outlets: Outlets
    flow: Flow
    past: PastOutlet
    assumed_divide_nodes: np.ndarray


@dataclass(frozen=True)
class _Plan:
    """All that stays the same while joints are tried."""

    lines: Lines
    drains: Drains
    active: np.ndarray
    levels: Levels
    exact_m: float
    tolerance_m: float
    placed: OutletPlaces
    marked: bool

    def solve(self, met: Met) -> _Solved:
        places = self.placed.as_places().joined(met.settled.places)
        solved, places_node = self._once(met, places)
        flow = solved.flow
        if len(flow.divide_piece):  # water leaves some place both ways: make it a node and look again
            line, at = solved.pieces.line[flow.divide_piece], flow.divide_at_m
            more = places.joined(Places(line, at, np.arange(len(line))))
            solved, places_node = self._once(met, more)
            divides = places_node[len(places.line):][flow.divide_assumed]
            solved = _Solved(*(getattr(solved, f) for f in list(_Solved.__dataclass_fields__)[:-1]), divides)
        return solved

    def _once(self, met: Met, places: Places) -> tuple[_Solved, np.ndarray]:
        pieces, nodes, places_node = make_pieces(
            self.lines, self.active, met.joining, places, self.exact_m, self.tolerance_m
        )
        outlet_nodes = places_node[: len(self.placed.line)]
        pieces, past = find_past_outlet(pieces, outlet_nodes, self.levels, len(nodes))
        component = systems_of(pieces, len(nodes))
        z_from, z_to = self.levels.level_at(pieces.line, pieces.from_m), self.levels.level_at(pieces.line, pieces.to_m)
        level = lowest_levels(pieces, len(nodes), z_from, z_to)
        waiting = met.proposed.where(~met.applied)
        outlets = find_outlets(
            self.placed, outlet_nodes, self.lines, self.drains, pieces, nodes, component, waiting.end, level,
            assume=not self.marked,
        )

        def high_point(piece: int) -> float:
            return self.levels.highest_inside(pieces.line[piece], pieces.from_m[piece], pieces.to_m[piece])

        flow = orient(pieces, component, outlets.node, level, high_point)
        none = np.zeros(0, dtype=np.int64)
        return _Solved(pieces, nodes, component, outlets, flow, past, none), places_node
