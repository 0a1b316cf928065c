"""Straight lines through heights whose errors are alike along the way: generalised least squares.

Covariance σ²·exp(-Δs/ℓ). Such errors are a Markov chain along the line, so the inverse covariance has
three diagonals and whitening needs the sample before only: e_i = (y_i - ρ_i·y_{i-1}) / √(1 - ρ_i²) with
ρ_i = exp(-(s_i - s_{i-1})/ℓ), and e_1 = y_1. Many runs are fitted in one pass over flat arrays.
"""

from __future__ import annotations

import numpy as np


def fit_slopes(
    s_m: np.ndarray, y_m: np.ndarray, first: np.ndarray, correlation_length_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Slope of each run, and its standard error for heights of standard error 1.

    Run k is the samples first[k]:first[k + 1] (the last to the end), at increasing stations `s_m`, at least two.
    """
    count = np.diff(first, append=len(s_m))
    begins = np.zeros(len(s_m), dtype=bool)
    begins[first] = True
    last = first + count - 1
    # stations from the middle and heights from the first sample of each run keep digits
    s_m = s_m - np.repeat((s_m[first] + s_m[last]) / 2.0, count)
    y_m = y_m - np.repeat(y_m[first], count)
    rho = np.zeros(len(s_m))
    if correlation_length_m > 0.0:
        rho[1:] = np.exp(-np.diff(s_m) / correlation_length_m, where=~begins[1:], out=np.zeros(max(len(s_m) - 1, 0)))
    scale = 1.0 / np.sqrt(1.0 - rho**2)

    def whiten(values: np.ndarray) -> np.ndarray:
        whitened = values.copy()
        whitened[1:] -= rho[1:] * values[:-1]
        return whitened * scale

    one, station, height = whiten(np.ones(len(s_m))), whiten(s_m), whiten(y_m)
    one_one = np.add.reduceat(one * one, first)
    one_station = np.add.reduceat(one * station, first)
    station_station = np.add.reduceat(station * station, first)
    one_height = np.add.reduceat(one * height, first)
    station_height = np.add.reduceat(station * height, first)
    spread = station_station - one_station**2 / one_one
    slope = (station_height - one_station * one_height / one_one) / spread
    return slope, np.sqrt(1.0 / spread)
