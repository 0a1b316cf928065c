"""After an edit: the county as it is now, with what stays of its ground, land and grades carried over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .county import County, drained
from .elevation.ground import GroundProfile, GroundSampler, Progress, sample_lines
from .land.update import update_served
from .network.grades import Grades
from .network.lines import Lines
from .network.network import Network
from .network.splice import Splice
from .network.update import Updated, update_network
from .tables import Drains, Shots, Structures


@dataclass(frozen=True)
class UpdatedCounty:
    """The county now. `part`: the county of what was built anew, as if it were alone; None where all was.

    `update` tells what was built, and why where it was all.
    """

    county: County
    part: County | None
    update: Updated


def update_county(
    old: County,
    drains: Drains,
    structures: Structures | None = None,
    shots: Shots | None = None,
    sampler: GroundSampler | None = None,
    progress: Progress | None = None,
) -> UpdatedCounty:
    """The county of these drains, structures and shots under the settings of `old`.

    `sampler` tells the ground where `old` has one; it is asked along new lines only. What had been worked out of the
    old county is brought up to date, the rest is worked out when it is asked for.
    """
    built: list[County] = []

    def on_ground(network: Network, before: np.ndarray) -> Network:
        ground = None if old.ground is None else _sampled(old.ground, network, before, sampler, progress)
        built.append(drained(County(network, old.limits, old.units, ground)))
        return built[0].network

    update = update_network(old.network, drains, structures, shots, on_ground)
    county, part = built[0], None
    if update.part is not None:
        part = built[0]
        county = County(update.network, old.limits, old.units, _spliced_ground(old, part, update))
        _carry_tables(old, part, county, update.splice)
    if "served" in vars(old):
        net = county.network
        vars(county)["served"] = update_served(
            old.served, net.lines, net.drains, old.limits, net.used, update.line_before
        )
    return UpdatedCounty(county, part, update)


def _sampled(
    old: GroundProfile, network: Network, before: np.ndarray, sampler: GroundSampler, progress: Progress | None
) -> GroundProfile:
    """Ground along active lines: that of lines that are as they were, and new samples along the others."""
    known = network.active & (before >= 0)
    known[known] = old.count[before[known]] > 0
    fresh = sample_lines(network.lines, sampler, old.step_m, network.active & ~known, progress)
    return old.carried(np.where(known, before, -1), fresh)


def _spliced_ground(old: County, part: County, update: Updated) -> GroundProfile | None:
    if old.ground is None:
        return None
    lines, numbers = update.network.lines, update.splice.numbers["line"]
    ground = part.ground.carried(_turned(numbers.part, lines), GroundProfile.nowhere(lines.length_m, old.ground.step_m))
    return old.ground.carried(_turned(numbers.old, lines), ground)


def _turned(numbers: np.ndarray, lines: Lines) -> np.ndarray:
    """By line now, its number on one side; -1 where it is not from there."""
    side = np.full(len(lines), -1, dtype=np.int64)
    side[numbers[numbers >= 0]] = np.flatnonzero(numbers >= 0)
    return side


def _carry_tables(old: County, part: County, county: County, splice: Splice) -> None:
    """What goes by lines and pieces, as far as it is known of the old county."""
    known, now = vars(old), vars(county)
    if "inflows" in known:
        now["inflows"] = splice.table(old.inflows, part.inflows, structure="structure", line="line")
    if "contradicted" in known:
        now["contradicted"] = splice.table(old.contradicted, part.contradicted, line="line", outlet_node="node")
    if "grades" in known:
        now["grades"] = Grades(**_grades(old.grades, part.grades, splice))
    if "piece_grades" in known:
        now["piece_grades"] = type(old.piece_grades)(
            splice.by("piece", old.piece_grades.call, part.piece_grades.call),
            splice.by("piece", old.piece_grades.p_reverse, part.piece_grades.p_reverse),
        )


def _grades(old: Grades, part: Grades, splice: Splice) -> dict[str, np.ndarray]:
    """Known stretches and unknown ones are two tables."""
    found: dict[str, np.ndarray] = {}
    names = list(Grades.__dataclass_fields__)
    for first in ("line", "unknown_line"):
        columns = [name for name in names if name.startswith("unknown_") == first.startswith("unknown_")]
        sides = ({name: getattr(grades, name) for name in columns} for grades in (old, part))
        found.update(splice.columns(*sides, {first: "line"}))
    return found
