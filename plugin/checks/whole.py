"""All of a run: from tables to findings, without any QGIS."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from ..county import County, drained
from ..elevation.ground import GroundSampler, sample_lines
from ..limits import Limits
from ..network.build import build_network
from ..network.network import Network
from ..tables import Drains, Land, Shots, Structures, Trees
from ..units import Units
from .case import Case
from .catalogue import CHECKS
from .declare import Check
from .edits import Edits
from .ground_fault import ground_fault
from .run import Results, run_checks

_SAMPLED = 0.5  # share of a run that the ground takes


@dataclass(frozen=True)
class Given:
    """What a run looks at, and its settings; None where a layer was not given.

    `sampler` tells the ground called `ground_name`.
    """

    drains: Drains
    structures: Structures | None = None
    shots: Shots | None = None
    trees: Trees | None = None
    land: Land | None = None
    sampler: GroundSampler | None = None
    ground_name: str = "ground"
    edits: Edits | None = None
    limits: Limits = field(default_factory=Limits)
    units: Units = field(default_factory=Units)
    tolerance_m: float = 0.3
    accept_proposed: bool = False


@dataclass(frozen=True)
class Checked:
    """A run: what was given, the case it made, and what was found."""

    given: Given
    case: Case
    results: Results


def check_whole(
    given: Given,
    checks: Iterable[Check] = CHECKS,
    progress: Callable[[float], None] = lambda share: None,
    is_canceled: Callable[[], bool] = lambda: False,
    network: Network | None = None,
) -> Checked:
    """Build the county and make the checks. Raises CanceledError when told to stop.

    `network`: that of `given` without any ground, where it is built already.
    """
    checks = tuple(checks)
    network = network or network_of(given)
    county = County(network, given.limits, given.units)
    if given.sampler is not None:
        step_m = given.limits["ground_step"]
        ground = sample_lines(
            network.lines, given.sampler, step_m, network.active, lambda share: progress(_SAMPLED * share)
        )
        county = drained(replace(county, ground=ground))
    case = case_of(given, county, checks)
    results = run_checks(case, checks, lambda share: progress(_SAMPLED + (1.0 - _SAMPLED) * share), is_canceled)
    return Checked(given, case, results)


def network_of(given: Given) -> Network:
    return build_network(
        given.drains, given.structures, given.shots, limits=given.limits, tolerance_m=given.tolerance_m,
        accept_proposed=given.accept_proposed,
    )


def case_of(given: Given, county: County, checks: tuple[Check, ...]) -> Case:
    """The county with its surroundings, without its ground where that cannot belong to the inverts."""
    fault = ground_fault(county, given.ground_name)
    told = any(check.id == "elevation-contradicts-outlet" for check in checks)
    return Case(replace(county, ground=None) if fault else county, given.trees, given.land, fault, told,
                edits=given.edits)
