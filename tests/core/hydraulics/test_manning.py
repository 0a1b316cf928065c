"""Known answers: handbook tables, published worked examples, and figures computed from the Manning formula."""

import numpy as np
import pytest
from fallkeeper.plugin.hydraulics.manning import (
    full_flow_capacity_m3_s,
    full_flow_velocity_m_s,
    grade_for_velocity,
    greatest_grade,
    least_grade,
    roughness,
)
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.units import FOOT_M, INCH_M

CUBIC_FOOT_M3 = FOOT_M**3
LIMITS = Limits()

# inside diameter in, n, grade %, cubic ft a second: Manning uniform flow with the US constant 1.486
# (NEH Part 650 ch. 14, 2001; n of NEH and ASAE EP260); tolerance 0.5 %
CAPACITY_US = [
    (3, 0.015, 0.1, 0.02422),
    (4, 0.015, 0.1, 0.05216),
    (5, 0.015, 0.1, 0.09457),
    (6, 0.015, 0.05, 0.1087),
    (6, 0.015, 0.1, 0.1538),
    (8, 0.015, 0.3, 0.5736),
    (10, 0.017, 0.1, 0.5298),
    (12, 0.017, 0.05, 0.6092),
    (15, 0.020, 0.1, 1.328),
    (18, 0.020, 0.1, 2.159),
    (24, 0.020, 0.1, 4.65),
    (6, 0.013, 0.1, 0.1774),
    (8, 0.013, 0.1, 0.3821),
    (12, 0.013, 0.1, 1.127),
    # a general civil-engineering worked printout, made with the constant 1.49
    (8, 0.013, 0.5, 0.854),
]

# inside diameter mm, n, grade %, litres a second: Manning uniform flow, SI; tolerance 0.2 %
CAPACITY_SI = [
    (100, 0.015, 0.1, 1.416),
    (100, 0.015, 0.3, 2.452),
    (200, 0.015, 0.1, 8.989),
    (300, 0.017, 0.1, 23.38),
    (150, 0.013, 0.1, 4.816),
]

# inside diameter in, n, velocity ft/s, grade %, tolerance %-points: least-grade table of ASAE EP260 and state
# drainage guides (from memory, verified by formula)
LEAST_GRADE_TABLE = [
    (3, 0.013, 0.5, 0.08, 0.0075),
    (3, 0.015, 0.5, 0.10, 0.0075),
    (4, 0.015, 0.5, 0.07, 0.0075),
    (5, 0.013, 0.5, 0.04, 0.0075),
    (5, 0.015, 0.5, 0.05, 0.0075),
    (6, 0.015, 0.5, 0.04, 0.0075),
    (3, 0.013, 1.4, 0.60, 0.0075),
    (3, 0.015, 1.4, 0.81, 0.0075),
    (4, 0.015, 1.4, 0.55, 0.0075),
    (5, 0.013, 1.4, 0.30, 0.0075),
    (5, 0.015, 1.4, 0.41, 0.0075),
    (6, 0.015, 1.4, 0.32, 0.0075),
    # computed from the formula; tolerance 1 %
    (8, 0.015, 0.5, 0.0278, 0.000278),
    (8, 0.015, 1.4, 0.218, 0.00218),
    (10, 0.017, 1.4, 0.208, 0.00208),
    (12, 0.017, 0.5, 0.0208, 0.000208),
    (12, 0.017, 1.4, 0.163, 0.00163),
]


@pytest.mark.parametrize(("diameter_in", "n", "grade_pct", "flow_ft3_s"), CAPACITY_US)
def test_full_flow_capacity_in_us_units(diameter_in, n, grade_pct, flow_ft3_s):
    flow = full_flow_capacity_m3_s(diameter_in * INCH_M, grade_pct / 100, n) / CUBIC_FOOT_M3
    assert flow == pytest.approx(flow_ft3_s, rel=0.005)


@pytest.mark.parametrize(("diameter_mm", "n", "grade_pct", "flow_l_s"), CAPACITY_SI)
def test_full_flow_capacity_in_si(diameter_mm, n, grade_pct, flow_l_s):
    flow = full_flow_capacity_m3_s(diameter_mm / 1000, grade_pct / 100, n) * 1000
    assert flow == pytest.approx(flow_l_s, rel=0.002)


def test_velocity_of_a_published_example():
    velocity = full_flow_velocity_m_s(8 * INCH_M, 0.005, 0.013) / FOOT_M
    assert velocity == pytest.approx(2.448, rel=0.005)


def test_corrugated_pipe_agrees_with_the_short_formula_of_fao_paper_60():
    """Q = 22 · d^2.667 · s^0.5 stands for n = 0.01417 (FAO Irrigation and Drainage Paper 60; from memory, verified)."""
    assert full_flow_capacity_m3_s(0.1, 0.001, 0.01417) == pytest.approx(22 * 0.1 ** (8 / 3) * 0.001**0.5, rel=0.002)


@pytest.mark.parametrize(("diameter_in", "n", "velocity_ft_s", "grade_pct", "tolerance_pct"), LEAST_GRADE_TABLE)
def test_least_grade_by_velocity(diameter_in, n, velocity_ft_s, grade_pct, tolerance_pct):
    grade = grade_for_velocity(diameter_in * INCH_M, velocity_ft_s * FOOT_M, n) * 100
    assert grade == pytest.approx(grade_pct, abs=tolerance_pct)


def test_greatest_grade_of_a_6_inch_pipe_in_sand():
    """3.5 ft/s in sand and sandy loam (NEH Part 650 ch. 14; from memory) is 2.0 % in a 6 in pipe; tolerance 1 %."""
    sandy = Limits([{"name": "greatest_velocity", "value": 3.5, "unit": "ft/s"}])
    assert greatest_grade(6 * INCH_M, 0.015, sandy) * 100 == pytest.approx(2.0, rel=0.01)


def test_default_velocity_limits():
    """0.5 and 1.4 ft/s (ASAE EP480, NEH 650 ch. 14; seen), 7 ft/s in clay and clay loam (NEH; from memory)."""
    fine = Limits([{"name": "fine_soil", "value": 1}])
    assert least_grade(4 * INCH_M, 0.015, LIMITS) == grade_for_velocity(4 * INCH_M, 0.5 * FOOT_M, 0.015)
    assert least_grade(4 * INCH_M, 0.015, fine) == grade_for_velocity(4 * INCH_M, 1.4 * FOOT_M, 0.015)
    assert greatest_grade(4 * INCH_M, 0.015, LIMITS) == grade_for_velocity(4 * INCH_M, 7.0 * FOOT_M, 0.015)


def test_capacity_ratio_of_a_longer_way_round():
    """A grade of 0.1 % stretched to 0.0769 %: 0.8771 of the capacity, 1.05 of the diameter for the same."""
    old_grade, new_grade = 0.001, 0.0007692307692307693
    old = full_flow_capacity_m3_s(0.1, old_grade, 0.015)
    assert full_flow_capacity_m3_s(0.1, new_grade, 0.015) / old == pytest.approx(0.8771, rel=0.001)
    assert full_flow_capacity_m3_s(0.105, new_grade, 0.015) / old == pytest.approx(1.0, rel=0.003)


def test_five_4_inch_pipes_carry_as_much_as_one_of_7_3_inches():
    one = full_flow_capacity_m3_s(7.314 * INCH_M, 0.001, 0.015)
    assert one == pytest.approx(5 * full_flow_capacity_m3_s(4 * INCH_M, 0.001, 0.015), rel=0.001)


def test_a_grade_just_under_that_of_the_least_velocity_is_too_little():
    """0.0673 % is under the 0.07 % rule for 4 in tubing."""
    assert least_grade(4 * INCH_M, 0.015, LIMITS) > 0.0006731


def test_roughness_by_material_and_size():
    sizes_in = np.array([3, 8, 8.1, 10, 12, 12.1, 24, 10, 10, 10, 10, 10])
    material = np.array(
        ["corrugated_plastic"] * 7 + ["smooth_plastic", "dual_wall_plastic", "clay", "concrete", None], dtype=object
    )
    expected = [0.015, 0.015, 0.017, 0.017, 0.017, 0.020, 0.020, 0.012, 0.012, 0.013, 0.013, 0.017]
    assert roughness(material, sizes_in * INCH_M, LIMITS).tolist() == expected


def test_an_office_sets_its_own_roughness():
    old_clay = Limits([{"name": "roughness_clay", "value": 0.014}])
    n = roughness(np.array(["clay"]), np.array([10 * INCH_M]), old_clay)
    flow = full_flow_capacity_m3_s(10 * INCH_M, 0.001, n) / CUBIC_FOOT_M3
    assert flow[0] == pytest.approx(0.6434, abs=0.0005)


def test_unknown_size_stays_unknown():
    n = roughness(np.array(["corrugated_plastic", "clay"], dtype=object), np.array([np.nan, np.nan]), LIMITS)
    assert np.isnan(n[0]) and n[1] == 0.013
    assert np.isnan(full_flow_capacity_m3_s(np.array([np.nan, np.nan]), 0.001, n)).all()
    assert np.isnan(least_grade(np.array([np.nan]), n[:1], LIMITS)).all()


def test_a_rising_or_unknown_grade_has_no_capacity_and_a_level_one_none_to_speak_of():
    flow = full_flow_capacity_m3_s(0.1, np.array([-0.001, np.nan, 0.0]), 0.015)
    assert np.isnan(flow[:2]).all() and flow[2] == 0.0
