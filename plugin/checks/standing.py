"""What sag and sill-downstream share: when water standing in a pipe is worth a row."""

from __future__ import annotations

import numpy as np

from ..elevation.grade import p_reverse
from .case import Case
from .declare import CANNOT_TELL, FOUND, Severity, Stretches


def standing_water(
    case: Case,
    line: np.ndarray,
    from_m: np.ndarray,
    to_m: np.ndarray,
    depth_m: np.ndarray,
    sigma_m: np.ndarray,
    detail: np.ndarray,
) -> Stretches:
    """Rows of pools deeper than the share of the inside diameter allows.

    Where the diameter is unknown no limit applies, and pools that are surely there are listed.
    """
    diameter = case.drains.diameter_m[case.network.lines.drain[line]]
    limit = case.limits["sag_share"] * diameter
    real = p_reverse(-depth_m, sigma_m)
    sure = real >= case.limits["p_reverse"]
    keep = np.where(np.isfinite(limit), depth_m > limit, sure)
    keep &= ~np.isin(line, case.contradicted_lines)
    call = np.where(sure, FOUND, CANNOT_TELL).astype(object)
    severity = np.where(sure, Severity.DOUBT.value, Severity.NOTE.value).astype(object)
    return Stretches(
        line[keep], from_m[keep], to_m[keep], value=depth_m[keep], limit=limit[keep], probability=real[keep],
        call=call[keep], severity=severity[keep], detail=detail[keep],
    )
