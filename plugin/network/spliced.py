"""A network put together from what stays of an old one and a part of it that was built anew."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np

from ..elevation.points import InvertPoints
from ..elevation.shots import UnusedShot
from ..tables import Drains, Shots, Structures
from .direction import Flow
from .joints import Joints
from .levels import Levels
from .lines import Lines, Unusable
from .network import Network
from .outlets import Outlets
from .pieces import Nodes
from .splice import Numbers, Splice, columns_of

Fault = TypeVar("Fault", UnusedShot, Unusable)


def splice_of(old: Network, part: Network, drain: Numbers, structure: Numbers, shot: Numbers) -> Splice:
    """Numbers of lines, nodes and pieces, given those of the rows of the tables.

    Lines and pieces stand in the order of the drains, nodes in that of the ends of lines, then those inside lines.
    """
    drain_now = drain.of(old.lines.drain, part.lines.drain)
    line = Numbers.by(drain_now[: len(old.lines)] >= 0, drain_now)
    piece_line = line.of(old.pieces.line, part.pieces.line)
    piece = Numbers.by(piece_line[: len(old.pieces)] >= 0, piece_line)
    return Splice(
        drain=drain, structure=structure, shot=shot, line=line, end=line.ends, piece=piece,
        node=_nodes(old, part, line, piece),
    )


def _nodes(old: Network, part: Network, line: Numbers, piece: Numbers) -> Numbers:
    end = line.ends.of(np.arange(2 * len(old.lines)), np.arange(2 * len(part.lines)))
    node = np.concatenate([old.nodes.of_end, np.where(part.nodes.of_end < 0, -1, part.nodes.of_end + len(old.nodes))])
    first_end = np.full(len(old.nodes) + len(part.nodes), len(end))
    here = np.flatnonzero((node >= 0) & (end >= 0))
    np.minimum.at(first_end, node[here], end[here])
    stays = np.ones(len(old.nodes), dtype=bool)
    for lost, nodes in (
        (end[: 2 * len(old.lines)] < 0, old.nodes.of_end),
        (piece.old < 0, old.pieces.node_from),
        (piece.old < 0, old.pieces.node_to),
    ):
        stays[nodes[lost & (nodes >= 0)]] = False
    return Numbers.by(stays, first_end)


def spliced(
    old: Network, part: Network, splice: Splice, drains: Drains, structures: Structures, shots: Shots
) -> Network:
    """The network of these tables."""
    lines = _lines(old.lines, part.lines, splice)
    proposed = splice.columns(
        {**columns_of(old.proposed), "applied": old.applied}, {**columns_of(part.proposed), "applied": part.applied},
        {"end": "end", "other": "line"},
    )
    applied = proposed.pop("applied")
    network = Network(
        drains=drains,
        structures=structures,
        shots=shots,
        lines=lines,
        active=splice.by("line", old.active, part.active),
        duplicates=splice.table(old.duplicates, part.duplicates, line="line", of="line"),
        unusable=_faults(splice, "drain", old.unusable, part.unusable),
        levels=Levels(lines, _points(old.levels.points, part.levels.points, splice)),
        made=splice.table(old.made, part.made, end="end", other="line"),
        proposed=Joints(**proposed),
        applied=applied,
        crossings=splice.table(old.crossings, part.crossings, line="line", other="line"),
        off_pipe_outlets=splice.numbered("structure", old.off_pipe_outlets, part.off_pipe_outlets),
        pieces=splice.table(old.pieces, part.pieces, line="line", node_from="node", node_to="node"),
        nodes=_nodes_now(old, part, splice),
        component=splice.groups("node", old.component, part.component),
        outlets=_outlets(old.outlets, part.outlets, splice),
        flow=_flow(old.flow, part.flow, splice),
        past_outlet=splice.table(old.past_outlet, part.past_outlet, line="line", node="node"),
        assumed_divide_nodes=splice.numbered("node", old.assumed_divide_nodes, part.assumed_divide_nodes),
        tolerance_m=old.tolerance_m,
        limits=old.limits,
        accept_proposed=old.accept_proposed,
    )
    vars(network)["neighbourhood"] = splice.groups("line", old.neighbourhood, part.neighbourhood)
    return network


def _lines(old: Lines, part: Lines, splice: Splice) -> Lines:
    first, vertex = splice.runs("line", old.first, part.first)
    of_vertex = {name: np.concatenate([getattr(old, name), getattr(part, name)])[vertex] for name in _OF_VERTEX}
    of_line = {name: splice.by("line", getattr(old, name), getattr(part, name)) for name in _OF_LINE}
    drain = splice.numbers["drain"].of(old.drain, part.drain)[splice.source("line")]
    return Lines(**of_line, **of_vertex, drain=drain, first=first)


_OF_LINE, _OF_VERTEX = ("geometry", "station0_m", "length_m"), ("xy", "z", "along_m")


def _points(old: InvertPoints, part: InvertPoints, splice: Splice) -> InvertPoints:
    first, point = splice.runs("line", old.first, part.first)
    return InvertPoints(
        line=np.repeat(np.arange(len(first) - 1), np.diff(first)),
        **{name: np.concatenate([getattr(old, name), getattr(part, name)])[point] for name in _OF_POINT},
        first=first,
        disagreements=splice.table(old.disagreements, part.disagreements, line="line"),
        unused_shots=_faults(splice, "shot", old.unused_shots, part.unused_shots),
    )


_OF_POINT = ("at_m", "z_m", "sigma_m", "source")


def _faults(splice: Splice, kind: str, old: list[Fault], part: list[Fault]) -> list[Fault]:
    """Faults of rows of drains or shots, by row."""
    rows = ([getattr(fault, kind) for fault in faults] for faults in (old, part))
    now = splice.numbers[kind].of(*(np.array(of_side, dtype=np.int64) for of_side in rows)).tolist()
    stay = [replace(fault, **{kind: row}) for fault, row in zip([*old, *part], now) if row >= 0]
    return sorted(stay, key=lambda fault: getattr(fault, kind))


def _nodes_now(old: Network, part: Network, splice: Splice) -> Nodes:
    of_end = splice.numbers["node"].of(old.nodes.of_end, part.nodes.of_end)[splice.source("end")]
    return Nodes(splice.by("node", old.nodes.xy, part.nodes.xy), of_end)


def _outlets(old: Outlets, part: Outlets, splice: Splice) -> Outlets:
    """Marked ones first, then ends of outlet pipes, then assumed ones."""
    now = splice.table(old, part, node="node", structure="structure")
    order = np.argsort(2 * now.assumed + (now.structure < 0), kind="stable")
    return Outlets(now.node[order], now.structure[order], now.assumed[order])


def _flow(old: Flow, part: Flow, splice: Splice) -> Flow:
    divides = ("divide_piece", "divide_at_m", "divide_assumed")
    return Flow(
        direction=splice.by("piece", old.direction, part.direction),
        loop=splice.groups("piece", old.loop, part.loop),
        **splice.columns(
            *({name: getattr(flow, name) for name in divides} for flow in (old, part)), {"divide_piece": "piece"}
        ),
    )
