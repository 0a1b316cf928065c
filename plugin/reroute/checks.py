"""The checks made on a reroute, in the order of the page within one severity."""

from __future__ import annotations

from ..checks.declare import Check
from . import fall_checks, tie_checks, way_checks

CHECKS: tuple[Check, ...] = (
    fall_checks.unknown_elevation,
    fall_checks.reverse_grade,
    fall_checks.loose_end,
    fall_checks.no_outlet,
    tie_checks.tie_in_step,
    fall_checks.smaller_downstream,
    fall_checks.flat_grade,
    fall_checks.fixed_invert,
    way_checks.crossing_not_joined,
    way_checks.shallow_cover,
    way_checks.deep_trench,
    way_checks.near_trees,
    way_checks.under_lot,
)
"""Each takes a `judge.Reroute` where a check of drains takes a case."""
