"""Systems by what people call them: the main at the outlet and the outlet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..checks.run import Findings
from ..county import County
from ..network.network import Network
from .pipe import name_of

if TYPE_CHECKING:
    from .findings import FindingsView

NO_OUTLET, NO_PIPE = -1, -2
"""Systems without an outlet count as one, and so does what lies on no pipe of the network."""


@dataclass(frozen=True)
class NamedSystem:
    """`number`: as `system_of_findings` has it; `count`: of the findings that are open."""

    number: int
    name: str
    count: int


def system_of_findings(network: Network, findings: Findings) -> np.ndarray:
    """By finding: the number of its system, NO_OUTLET, or NO_PIPE."""
    system = np.where(network.has_outlet, network.piece_system, NO_OUTLET)
    of_line = np.full(len(network.lines) + 1, NO_PIPE)  # one more for findings of no line
    of_line[network.pieces.line] = system
    return of_line[findings.line]


def named_systems(view: FindingsView) -> list[NamedSystem]:
    """Systems in which something was found, those with most open findings first; without outlet and on no pipe last."""
    number, place = np.unique(view.systems, return_inverse=True)
    count = np.bincount(place, weights=~view.standing.accepted, minlength=len(number)).astype(int)
    names = view.system_names
    found = [NamedSystem(k, names[k], n) for k, n in zip(number.tolist(), count.tolist())]
    return sorted(found, key=lambda one: (one.number < 0, -one.count, one.name, -one.number))


def names_of(county: County, numbers: np.ndarray) -> dict[int, str]:
    """'Main A to Outlet OA'; the key of the drain too where two systems would read the same."""
    network = county.network
    numbers = numbers[numbers > NO_OUTLET]
    outlets, pieces = network.outlets, np.full(len(network.nodes), -1)
    every = np.arange(len(network.piece_system))
    pieces[network.node_up] = every
    pieces[network.node_down] = every  # one that flows to it before one that leaves it
    piece = pieces[outlets.node]
    system = network.piece_system[piece]
    order = np.argsort(system, kind="stable")
    first, last = (np.searchsorted(system[order], numbers, side=side) for side in ("left", "right"))
    drains = {k: int(network.piece_drain[piece[order[a]]]) for k, a in zip(numbers.tolist(), first.tolist())}
    ends = {k: _ends(network, outlets.structure[order[a:b]])
            for k, a, b in zip(numbers.tolist(), first.tolist(), last.tolist())}
    plain = {k: f"{network.drains.name[drains[k]]} to {ends[k]}" for k in drains}
    times = Counter(plain.values())
    told = {k: name if times[name] == 1 else f"{name_of(county, drains[k])} to {ends[k]}" for k, name in plain.items()}
    return {**told, NO_OUTLET: "no outlet", NO_PIPE: "on no pipe"}


def _ends(network: Network, structures: np.ndarray) -> str:
    """'Outlet OA', 'Outlet OA and 3 more'; 'its free end' where nobody marked one."""
    marked = structures[structures >= 0]
    if not len(marked):
        return "its free end"
    name = network.structures.name[marked[0]] or f"outlet {network.structures.structure_id[marked[0]]}"
    return str(name) if len(marked) == 1 else f"{name} and {len(marked) - 1:,} more"
