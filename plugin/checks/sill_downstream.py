"""sill-downstream: water stands in a pipe because another pipe on its way out lies higher."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..network.sills import standing_behind_sills
from .case import Case
from .declare import NotChecked, Severity, Stretches, check
from .reasons import contradicted, no_direction, unmeasured
from .standing import standing_water


@check(
    id="sill-downstream",
    title="A high place downstream holds water back in this pipe",
    remedy="Look at the pipe named: lower it there, or bring this pipe in farther down.",
    false_alarm="Inverts of the two pipes from two datums.",
    severity=Severity.DOUBT,
    source="highest invert still to be crossed on the way to the outlet, less the invert",
    kind="length",
    limits=("sag_share", "p_reverse"),
    worst="max",
)
def sill_downstream(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: depth of water held back at the lower end; limit: the share of the inside diameter."""
    net = case.network
    found = standing_behind_sills(net, case.county.down)
    doubted = net.component[case.county.contradicted.outlet_node]
    own = ~np.isin(found.component, doubted)
    names = case.name_of_line(found.sill_line)
    detail = np.array([f"held back by {name}" for name in names], dtype=object)
    yield from standing_water(
        case, found.line[own], found.from_m[own], found.to_m[own], found.depth_m[own], found.sigma_m[own], detail[own]
    )
    yield unmeasured(case)
    yield no_direction(case)
    yield contradicted(net.piece_drain[np.isin(net.component[net.pieces.node_from], doubted)])
