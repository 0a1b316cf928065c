"""Why a check cannot be made on some drains: what several checks say with the same words."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .case import Case
from .declare import NotChecked

_NO_SIZE = "The diameter is unknown: enter it, or measure it at the next opening."
_NO_FALL = "Fewer than two inverts are known on all or part of the pipe: shoot its two ends, or give a ground raster."
_NO_DIRECTION = "Nobody knows which way the water runs here: mark the outlet, or shoot inverts."
_CONTRADICTED = "The inverts contradict the only outlet: settle that first."
_UNMEASURED = "Fewer than two inverts are measured on the pipe: shoot inverts along it."


def no_size(case: Case, drain: np.ndarray) -> NotChecked:
    """Those of the drains whose inside diameter is unknown."""
    return NotChecked(_NO_SIZE, drain[np.isnan(case.drains.diameter_m[drain])])


def no_fall(case: Case) -> Iterator[NotChecked]:
    """Drains whose fall is not known on all or part of their length, and those of which it says nothing."""
    drain = case.network.lines.drain
    yield NotChecked(_NO_FALL, drain[case.county.grades.unknown_line])
    yield no_direction(case)
    yield contradicted(drain[case.contradicted_lines])


def no_direction(case: Case) -> NotChecked:
    """Drains of which all or part may flow either way."""
    net = case.network
    return NotChecked(_NO_DIRECTION, net.piece_drain[net.direction == 0])


def contradicted(drain: np.ndarray) -> NotChecked:
    """Drains left to elevation-contradicts-outlet."""
    return NotChecked(_CONTRADICTED, drain)


def unmeasured(case: Case) -> NotChecked:
    """Drains whose fall is only known from the ground, on which no single low place can be seen."""
    net = case.network
    used = np.unique(net.pieces.line)
    return NotChecked(_UNMEASURED, net.lines.drain[used[net.levels.points.count[used] < 2]])
