"""The whitened fit against the textbook solution with the full covariance matrix."""

import numpy as np
import pytest
from fallkeeper.plugin.elevation.gls import fit_slopes
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import cho_factor, cho_solve


def dense_slope(s_m, y_m, correlation_length_m):
    """β = (X'C⁻¹X)⁻¹X'C⁻¹y with C = exp(-|s_i - s_j|/ℓ)."""
    covariance = np.exp(-np.abs(s_m[:, None] - s_m[None, :]) / correlation_length_m)
    factor = cho_factor(covariance)
    design = np.column_stack([np.ones(len(s_m)), s_m])
    normal = design.T @ cho_solve(factor, design)
    beta = np.linalg.solve(normal, design.T @ cho_solve(factor, y_m))
    return beta[1], np.sqrt(np.linalg.inv(normal)[1, 1])


run = st.lists(st.tuples(st.floats(0.5, 20), st.floats(-1, 1)), min_size=2, max_size=30)


@given(st.lists(run, min_size=1, max_size=4), st.floats(1, 200))
def test_many_runs_at_once_agree_with_the_dense_solution(runs, correlation_length_m):
    stations = [np.cumsum([gap for gap, _ in one]) for one in runs]
    heights = [200.0 + np.array([z for _, z in one]) for one in runs]
    first = np.cumsum([0] + [len(one) for one in runs[:-1]])
    slope, error = fit_slopes(np.concatenate(stations), np.concatenate(heights), first, correlation_length_m)
    for k, (s_m, y_m) in enumerate(zip(stations, heights)):
        expected_slope, expected_error = dense_slope(s_m, y_m - 200.0, correlation_length_m)
        assert slope[k] == pytest.approx(expected_slope, abs=1e-7)
        assert error[k] == pytest.approx(expected_error, rel=1e-5)


def test_without_correlation_it_is_the_ordinary_fit():
    s_m, y_m = np.arange(5.0), np.array([1.0, 1.2, 0.9, 1.6, 1.4])
    slope, error = fit_slopes(s_m, y_m, np.array([0]), 0.0)
    assert slope[0] == pytest.approx(np.polyfit(s_m, y_m, 1)[0])
    assert error[0] == pytest.approx(1 / np.sqrt(10.0))


def test_two_samples_give_their_own_slope():
    """Error of the difference of two heights correlated by exp(-10/30): √(2·(1 - 0.7165)) over 10 m."""
    slope, error = fit_slopes(np.array([0.0, 10.0]), np.array([5.0, 4.9]), np.array([0]), 30.0)
    assert slope[0] == pytest.approx(-0.01)
    assert error[0] == pytest.approx(np.sqrt(2 * (1 - np.exp(-1 / 3))) / 10)
