"""The state of a network in a few words: how much there is, and what of it is in doubt."""

from __future__ import annotations

import numpy as np

from ..county import County
from ..network.summary import say_first
from ..report.markup import plural
from .answer import Answer, Section


def said_state(county: County) -> str:
    """One line: '207 drains, 203,012.3 ft, in 3 systems; 17 drains reach no outlet, 1 proposed joint'."""
    net = county.network
    drains = len(net.drains_in_network)
    length = county.units.show_length(float(net.pieces.length_m.sum()), 0)
    systems = len(np.unique(net.piece_system))
    doubts = _doubts(county)
    return f"{plural(drains, 'drain')}, {length}, in {plural(systems, 'system')}; {doubts or 'no doubts about joints'}"


def _doubts(county: County) -> str:
    net = county.network
    lacking, waiting = len(net.drains_without_outlet), len(net.proposed) - int(net.applied.sum())
    said = []
    if lacking:
        said.append(f"{plural(lacking, 'drain')} {'reaches' if lacking == 1 else 'reach'} no outlet")
    if waiting:
        said.append(plural(waiting, "proposed joint"))
    if net.accept_proposed and net.applied.any():
        said.append(f"{plural(int(net.applied.sum()), 'proposed joint')} counted as real")
    return ", ".join(said)


def explain_state(county: County, said: tuple[str, ...]) -> Answer:
    """What must be known about the network before any other answer is trusted. `said`: what reading it told."""
    first = tuple(say_first(county.network, "the setting Accept proposed joints")) + said
    return Answer("State of the network", (Section(said_state(county), first),))
