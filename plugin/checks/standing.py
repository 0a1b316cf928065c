"""What sag and sill-downstream share: when water standing in a pipe is worth a row."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..elevation.grade import p_reverse
from .case import Case
from .declare import CANNOT_TELL, FOUND, Places, Severity, Stretches


def standing_water(
    case: Case,
    line: np.ndarray,
    from_m: np.ndarray,
    to_m: np.ndarray,
    depth_m: np.ndarray,
    sigma_m: np.ndarray,
    detail: np.ndarray,
) -> Iterator[Stretches | Places]:
    """Rows of pools deeper than the share of the inside diameter allows.

    Where the diameter is unknown no limit applies, and pools that are surely there are listed. A pool of which one
    invert only is known is a place: nobody knows how far up it reaches.
    """
    diameter = case.drains.diameter_m[case.network.lines.drain[line]]
    limit = case.limits["sag_share"] * diameter
    real = p_reverse(-depth_m, sigma_m)
    sure = real >= case.limits["p_reverse"]
    keep = np.where(np.isfinite(limit), depth_m > limit, sure)
    keep &= ~np.isin(line, case.contradicted_lines)
    call = np.where(sure, FOUND, CANNOT_TELL).astype(object)
    severity = np.where(sure, Severity.DOUBT.value, Severity.NOTE.value).astype(object)

    def columns(rows: np.ndarray) -> dict[str, np.ndarray]:
        return {
            "value": depth_m[rows], "limit": limit[rows], "probability": real[rows], "call": call[rows],
            "severity": severity[rows], "detail": detail[rows],
        }

    long, point = np.flatnonzero(keep & (to_m > from_m)), np.flatnonzero(keep & (to_m <= from_m))
    yield Stretches(line[long], from_m[long], to_m[long], **columns(long))
    xy_m = case.network.lines.points_at(line[point], from_m[point])
    yield Places(line[point], from_m[point], xy_m, **columns(point))
