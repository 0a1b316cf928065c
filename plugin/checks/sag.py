"""sag: a low place inside a pipe in which water stands."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..elevation.ranges import Ranges
from ..elevation.sag import pools
from ..network.grades import flow_ranges
from .case import Case
from .declare import NotChecked, Severity, Stretches, check
from .reasons import contradicted, no_direction, unmeasured
from .standing import standing_water


@check(
    id="sag",
    title="Water stands in a low place of the pipe",
    remedy="Open at the low place and look for silt; relay the stretch on grade.",
    false_alarm="Inverts shot on silt instead of pipe, or from two datums.",
    severity=Severity.DOUBT,
    source="running maximum of the inverts downstream, less the invert",
    kind="length",
    limits=("sag_share", "p_reverse"),
    worst="max",
)
def sag(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: deepest standing water; limit: the share of the inside diameter. Measured inverts only."""
    net = case.network
    line, from_m, to_m, direction = flow_ranges(net)
    known = direction != 0
    flowing = Ranges(line[known], from_m[known], to_m[known])
    found = pools(net.lines, net.levels.points, flowing, direction[known])
    level = [f"water stands to {z / case.units.length_m:,.2f} {case.units.length_name}" for z in found.level_m]
    detail = np.array(level, dtype=object)
    yield from standing_water(case, found.line, found.from_m, found.to_m, found.depth_m, found.sigma_m, detail)
    yield unmeasured(case)
    yield no_direction(case)
    yield contradicted(net.lines.drain[case.contradicted_lines])
