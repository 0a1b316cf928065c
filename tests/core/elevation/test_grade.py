"""Known answers: acceptance cases, and normal-error propagation computed from the formula."""

import numpy as np
import pytest
from fallkeeper.plugin.elevation.grade import (
    call,
    error_that_settles_m,
    p_reverse,
    shortest_run_m,
    sigma_of_fall_m,
    what_settles,
)
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.units import FOOT_M, Units
from hypothesis import given
from hypothesis import strategies as st

LIMITS = Limits()


@pytest.mark.parametrize(
    ("fall_ft", "sigma_ft", "correlation", "probability", "said"),
    [
        # A07: a fall of -0.05 ft by level, by lidar, by lidar with errors in common, and a clear reverse
        (-0.05, 0.03, 0.0, 0.881, "cannot_tell"),
        (-0.05, 0.33, 0.0, 0.543, "cannot_tell"),
        (-0.05, 0.33, 0.9, 0.633, "cannot_tell"),
        (-0.125, 0.03, 0.0, 0.998, "reverse"),
        # S5.7: the shortcut whose ground falls 0.0773 % while the pipe rises
        (-0.125, 0.33, 0.0, 0.606, "cannot_tell"),
        (0.375, 0.03, 0.0, 0.0, "falls"),
        # A06: the hidden reverse reach
        (-0.05, 0.01, 0.0, 0.9998, "reverse"),
    ],
)
def test_how_sure(fall_ft, sigma_ft, correlation, probability, said):
    sigma = sigma_of_fall_m(sigma_ft * FOOT_M, sigma_ft * FOOT_M, correlation)
    p = p_reverse(fall_ft * FOOT_M, sigma)
    assert p == pytest.approx(probability, abs=0.002)
    assert call(p, LIMITS) == said


def test_the_grades_of_the_tempting_shortcut():
    """S5.7: 485.41 ft; the ground falls 0.0773 %, the pipe rises 0.0258 %."""
    assert 0.375 / 485.41 * 100 == pytest.approx(0.0773, abs=0.0001)
    assert -0.125 / 485.41 * 100 == pytest.approx(-0.0258, abs=0.0001)


def test_probability_of_a_least_grade():
    """S5.7: the good reroute falls 0.350 ft in 550 ft; P(grade at least 0.05 %) is 0.961 with errors of 0.03 ft."""
    above_least_ft = 0.350 - 0.0005 * 550
    sigma_ft = sigma_of_fall_m(0.03, 0.03)
    assert 1 - p_reverse(above_least_ft, sigma_ft) == pytest.approx(0.961, abs=0.001)


@pytest.mark.parametrize(
    ("sigma_m", "length_m", "grade_pct"), [(0.10, 100, 0.1414), (0.02, 100, 0.02828), (0.02, 30, 0.09428)]
)
def test_error_of_a_grade(sigma_m, length_m, grade_pct):
    assert sigma_of_fall_m(sigma_m, sigma_m) / length_m * 100 == pytest.approx(grade_pct, rel=0.001)


@pytest.mark.parametrize(("sigma_m", "run_m"), [(0.10, 232.6), (0.02, 46.53), (0.005, 11.63)])
def test_shortest_run_that_proves_a_fall_of_a_tenth_per_cent(sigma_m, run_m):
    assert shortest_run_m(0.001, sigma_m, 0.95) == pytest.approx(run_m, rel=0.002)


def test_shortest_run_by_lidar():
    """A07: 768 ft at 0.1 % with errors of 0.33 ft."""
    assert shortest_run_m(0.001, 0.33, 0.95) == pytest.approx(768, abs=2)


def test_probability_that_a_measured_fall_is_really_a_rise():
    assert p_reverse(0.03, sigma_of_fall_m(0.02, 0.02)) == pytest.approx(0.1444, rel=0.003)


def test_without_error_the_sign_decides():
    assert p_reverse(np.array([0.01, -0.01, 0.0]), 0.0).tolist() == [0.0, 1.0, 0.5]


def test_unknown_is_never_called_good():
    p = p_reverse(np.array([np.nan, 1.0, 1.0]), np.array([0.1, np.nan, -0.1]))
    assert np.isnan(p).all()
    assert call(p, LIMITS).tolist() == ["unknown"] * 3


def test_calls_hold_at_their_limits():
    said = call(np.array([0.0, 0.05, 0.0501, 0.9499, 0.95, 1.0]), LIMITS)
    assert said.tolist() == ["falls", "falls", "cannot_tell", "cannot_tell", "reverse", "reverse"]


@given(st.floats(-5, 5), st.floats(0.001, 5), st.floats(0.001, 1))
def test_less_fall_is_never_surer(fall_m, less_m, sigma_m):
    assert p_reverse(fall_m - less_m, sigma_m) >= p_reverse(fall_m, sigma_m)
    assert p_reverse(fall_m, sigma_m) + p_reverse(-fall_m, sigma_m) == pytest.approx(1.0)


@given(st.floats(-5, 5).filter(lambda fall: abs(fall) > 1e-6))
def test_inverts_of_the_needed_error_just_settle_the_fall(fall_m):
    sigma = error_that_settles_m(fall_m, LIMITS) * (1 - 1e-9)
    said = call(p_reverse(fall_m, sigma_of_fall_m(sigma, sigma)), LIMITS)
    assert said == ("reverse" if fall_m < 0 else "falls")


def test_what_would_settle_it_is_said_in_the_user_s_unit():
    """A fall of -0.05 ft needs two shots within 0.0215 ft: 0.05 / (1.645 · √2)."""
    said = what_settles(-0.05 * FOOT_M, LIMITS, Units("us"))
    assert said == "two inverts shot at the ends of this stretch, each within 0.021 ft, would decide it"
    assert "too small to be called" in what_settles(0.001, LIMITS, Units("metric"))
    assert "would give a fall" in what_settles(np.nan, LIMITS, Units("metric"))


def test_no_survey_is_asked_for_where_there_is_no_fall():
    assert what_settles(0.0, LIMITS, Units()) == "there is hardly any fall over this stretch, and no survey can call it"
