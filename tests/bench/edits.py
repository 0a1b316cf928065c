"""One edit of a county that is loaded and checked: what it costs to have all findings again, against a whole run."""

from __future__ import annotations

import dataclasses
import time

import numpy as np
import shapely
from county import County
from fallkeeper.plugin.checks.again import check_again
from fallkeeper.plugin.checks.whole import Given, check_whole
from fallkeeper.plugin.network.kept_rows import edited, rows_of
from measure import Clock
from stages import TOLERANCE_M, UNITS, read_drains, read_surroundings, sampler

EDITS = 5
MOVED_M = 3.0


def one_edit(county: County, clock: Clock) -> None:
    """Laterals moved sideways one at a time; each time the findings are those of the whole county."""
    drains, structures = read_drains(county)
    trees, land = read_surroundings(county)
    given = Given(drains, structures, None, trees, land, sampler(county), units=UNITS, tolerance_m=TOLERANCE_M,
                  accept_proposed=True)
    clock.loaded()
    with clock("whole"):
        checked = check_whole(given)
    laterals = np.flatnonzero(drains.role == "lateral")
    seconds = []
    for row in np.random.default_rng(0).choice(laterals, EDITS, replace=False).tolist():
        moved = rows_of(checked.given.drains, np.array([row]))
        moved.geometry[0] = shapely.transform(moved.geometry[0], lambda xy: xy + MOVED_M)
        began = time.process_time()
        now = edited(checked.given.drains, "drain_id", moved)
        checked = check_again(checked, dataclasses.replace(checked.given, drains=now))
        seconds.append(time.process_time() - began)
        clock.facts.setdefault("why_all", []).append(checked.why_all)
    clock.facts.update(seconds=seconds, whole=clock.stages["whole"]["cpu"], findings=len(checked.results.findings))
