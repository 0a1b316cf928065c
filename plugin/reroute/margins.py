"""Whether the drains that a new pipe meets can run into it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..elevation.grade import CANNOT_TELL, UNKNOWN, p_reverse
from .meetings import FOLLOWS

if TYPE_CHECKING:
    from .judge import Reroute

ENTERS = "enters"
BELOW = "below"


@dataclass(frozen=True)
class Margins:
    """By meeting: invert of the drain and of the new pipe there, how far the drain lies above (negative: below).

    `p_below`: chance that it lies below and cannot run in. `state`: enters, below, cannot_tell or unknown.
    `passes_under`: its top lies below the new invert.
    """

    invert_m: np.ndarray
    new_invert_m: np.ndarray
    margin_m: np.ndarray
    p_below: np.ndarray
    state: np.ndarray
    passes_under: np.ndarray


def find_margins(reroute: Reroute) -> Margins:
    """The margins of all meetings, each called with the probabilities of a grade."""
    met, county, limits = reroute.meetings, reroute.county, reroute.case.limits
    own = county.evidence.invert_at(met.line, met.at_m)
    new_m, new_sigma_m = reroute.invert_at(met.station_m)
    margin_m = own.z_m - new_m
    p_below = p_reverse(margin_m, np.hypot(own.sigma_m, new_sigma_m))
    state = np.select(
        [np.isnan(p_below), p_below >= limits["p_reverse"], p_below <= limits["p_falls"]],
        [UNKNOWN, BELOW, ENTERS],
        CANNOT_TELL,
    ).astype(object)
    diameter_m = county.network.drains.diameter_m[county.network.lines.drain[met.line]]
    return Margins(own.z_m, new_m, margin_m, p_below, state, own.z_m + diameter_m < new_m)


def crossings(reroute: Reroute) -> np.ndarray:
    """Rows of the meetings that are places: crossings and ends of drains on the route."""
    return np.flatnonzero(reroute.meetings.kind != FOLLOWS)
