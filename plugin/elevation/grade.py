"""How surely a pipe falls: probability of reverse, the call, and what would settle a doubt.

Fall d = z(up) - z(down), its standard error σ_d = √(s1² + s2² - 2·r·s1·s2), P(reverse) = Φ(-d/σ_d).
The same serves a least grade: P(grade < least) is P(reverse) of the fall less the least grade's fall.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri

from ..limits import Limits
from ..units import Units

FALLS = "falls"
REVERSE = "reverse"
CANNOT_TELL = "cannot_tell"
UNKNOWN = "unknown"

_HOPELESS_M = 0.0002  # nobody shoots an invert better than a fifth of a millimetre


def sigma_of_fall_m(sigma_up_m: np.ndarray, sigma_down_m: np.ndarray, correlation: float = 0.0) -> np.ndarray:
    """Standard error of the difference of two inverts whose errors are correlated by `correlation`."""
    product = 2.0 * correlation * np.multiply(sigma_up_m, sigma_down_m)
    return np.sqrt(np.maximum(np.square(sigma_up_m) + np.square(sigma_down_m) - product, 0.0))


def p_reverse(fall_m: np.ndarray, sigma_m: np.ndarray) -> np.ndarray:
    """Probability that the pipe really rises downstream; NaN where fall or error is unknown.

    Without error it is 0 or 1, and a half for a fall of exactly nothing.
    """
    fall_m, sigma_m = np.asarray(fall_m, dtype=float), np.asarray(sigma_m, dtype=float)
    known_error = np.where(sigma_m > 0.0, sigma_m, 1.0)
    certain = np.where(fall_m == 0.0, 0.5, (fall_m < 0.0).astype(float))
    probability = np.where(sigma_m > 0.0, ndtr(-fall_m / known_error), certain)
    return np.where(np.isnan(fall_m) | ~(sigma_m >= 0.0), np.nan, probability)


def call(probability: np.ndarray, limits: Limits) -> np.ndarray:
    """falls, reverse, cannot_tell, or unknown where there is no probability."""
    probability = np.asarray(probability, dtype=float)
    return np.select(
        [np.isnan(probability), probability >= limits["p_reverse"], probability <= limits["p_falls"]],
        [UNKNOWN, REVERSE, FALLS],
        CANNOT_TELL,
    )


def shortest_run_m(grade: float, sigma_m: float, confidence: float) -> float:
    """Length a pipe at `grade` must have so that two inverts of error `sigma_m` prove its fall (one-sided)."""
    return float(ndtri(confidence) * sigma_of_fall_m(sigma_m, sigma_m) / abs(grade))


def error_that_settles_m(fall_m: np.ndarray, limits: Limits) -> np.ndarray:
    """Standard error two inverts may have at most so that this fall, if true, can be called."""
    fall_m = np.asarray(fall_m, dtype=float)
    z = np.where(fall_m < 0.0, ndtri(limits["p_reverse"]), -ndtri(limits["p_falls"]))
    return np.abs(fall_m) / (z * np.sqrt(2.0))


def what_settles(fall_m: float, limits: Limits, units: Units) -> str:
    """A clause for people on what would settle a doubtful fall between the two ends of a stretch."""
    needed_m = float(error_that_settles_m(fall_m, limits))
    if np.isnan(needed_m):
        return "two level shots, one at either end of this stretch, would give a fall"
    if needed_m < _HOPELESS_M:
        return "there is hardly any fall over this stretch, and no survey can call it"
    needed = units.show_length(needed_m, 3)
    if needed_m < limits["error_level"]:
        return f"the fall is too small to be called over this stretch: both ends would have to be shot within {needed}"
    return f"two inverts shot at the ends of this stretch, each within {needed}, would decide it"
