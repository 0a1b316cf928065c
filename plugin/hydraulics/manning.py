"""Full-flow capacity, velocity and grade of round pipes by the Manning formula.

V = R^(2/3) · S^(1/2) / n with R = D/4 for a full pipe, in metres and seconds. Handbooks in US units
write it with the constant 1.486 for the exact 1.48592, so their figures come out 0.006 % larger; tables
made with 1.49 come out 0.3 % larger.
"""

from __future__ import annotations

import numpy as np

from ..limits import Limits
from ..units import INCH_M

_SIZE_SLACK_M = 1e-5  # an 8 in pipe given as 203.2 mm is still 8 in


def roughness(material: np.ndarray, diameter_m: np.ndarray, limits: Limits) -> np.ndarray:
    """Manning's n of each pipe by material word and inside diameter; NaN where it needs an unknown diameter.

    The n of corrugated pipe goes up in steps at 8 and 12 in. A pipe of unknown material is taken as
    corrugated, the roughest, so that its capacity is not overstated.
    """
    diameter_m = np.asarray(diameter_m, dtype=float)
    material = np.asarray(material, dtype=object)
    corrugated = np.select(
        [np.isnan(diameter_m), diameter_m <= 8 * INCH_M + _SIZE_SLACK_M, diameter_m <= 12 * INCH_M + _SIZE_SLACK_M],
        [np.nan, limits["roughness_corrugated_8in"], limits["roughness_corrugated_12in"]],
        limits["roughness_corrugated_larger"],
    )
    smooth = (material == "smooth_plastic") | (material == "dual_wall_plastic")
    return np.select(
        [smooth, material == "clay", material == "concrete"],
        [limits["roughness_smooth"], limits["roughness_clay"], limits["roughness_concrete"]],
        corrugated,
    )


def full_flow_velocity_m_s(diameter_m: np.ndarray, grade: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Mean velocity of the full pipe at `grade` (a ratio); NaN where it rises: the formula says nothing there."""
    grade = np.asarray(grade, dtype=float)
    slope_root = np.sqrt(np.where(grade >= 0.0, grade, np.nan))
    return (np.asarray(diameter_m, dtype=float) / 4.0) ** (2.0 / 3.0) * slope_root / n


def full_flow_capacity_m3_s(diameter_m: np.ndarray, grade: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Flow of the full pipe; NaN where the pipe rises or a figure is unknown."""
    diameter_m = np.asarray(diameter_m, dtype=float)
    return np.pi / 4.0 * diameter_m**2 * full_flow_velocity_m_s(diameter_m, grade, n)


def grade_for_velocity(diameter_m: np.ndarray, velocity_m_s: float, n: np.ndarray) -> np.ndarray:
    """Grade (ratio) at which the full pipe runs at `velocity_m_s`."""
    hydraulic_radius_m = np.asarray(diameter_m, dtype=float) / 4.0
    return (velocity_m_s * n / hydraulic_radius_m ** (2.0 / 3.0)) ** 2


def least_grade(diameter_m: np.ndarray, n: np.ndarray, limits: Limits) -> np.ndarray:
    """Least grade that keeps the full pipe clean; more where fine sand or silt may enter (limit `fine_soil`)."""
    velocity = "least_velocity_fines" if limits["fine_soil"] else "least_velocity"
    return grade_for_velocity(diameter_m, limits[velocity], n)


def greatest_grade(diameter_m: np.ndarray, n: np.ndarray, limits: Limits) -> np.ndarray:
    """Grade above which the full pipe runs so fast that its bedding may wash."""
    return grade_for_velocity(diameter_m, limits["greatest_velocity"], n)
