"""steep-grade: a full flow faster than the soil around the pipe stands."""

import builders as b
import pytest
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)


def pipe_at(grade_pct, diameter=12.0, error=0.01, limits=()):
    return case_of(
        b.main("M", (0, 0), (0, 300), diameter=diameter, material="corrugated_plastic", invert_start=90.0,
               invert_end=90.0 + 3 * grade_pct, invert_error=error),
        outlets=OUTLET, limits=limits,
    )


def test_a_usual_grade_is_clean():
    assert found(pipe_at(0.5), "steep-grade") == []


def test_a_steep_pipe_is_found_with_the_grade_of_seven_feet_a_second():
    (row,) = found(pipe_at(6.0), "steep-grade")
    # V = 1.486/n R^(2/3) S^(1/2): S = (7 x 0.017 / 1.486 / 0.25^(2/3))^2
    assert row.limit == pytest.approx(100 * (7 * 0.017 / 1.486 / 0.25 ** (2 / 3)) ** 2, rel=1e-3)
    assert row.value == pytest.approx(6.0) and (row.call, row.severity, row.unit) == ("found", "doubt", "%")


def test_in_sand_the_limit_of_six_inch_pipe_is_two_percent():
    """3.5 ft/s in sand and sandy loam: NRCS NEH Part 650 ch. 14 (from memory)."""
    sand = [{"name": "greatest_velocity", "value": 3.5, "unit": "ft/s"}]
    (row,) = found(pipe_at(3.0, diameter=6.0, limits=sand), "steep-grade")
    assert row.limit == pytest.approx(2.0, rel=0.01)


def test_a_grade_near_the_limit_cannot_be_told():
    limit = found(pipe_at(6.0), "steep-grade")[0].limit
    (row,) = found(pipe_at(limit, error=0.5), "steep-grade")
    assert row.call == "cannot_tell" and row.probability == pytest.approx(0.5, abs=0.01)


def test_without_a_diameter_it_is_not_checked():
    case = pipe_at(9.0, diameter=None)
    assert found(case, "steep-grade") == [] and of_drains(case, "steep-grade", "diameter") is None


def test_pipe_that_rises_is_not_steep():
    case = case_of(
        b.main("M", (0, 0), (0, 300), diameter=12, invert_start=95, invert_end=90),
        b.main("N", (0, 300), (0, 400), diameter=12, invert_start=99, invert_end=99.5), outlets=OUTLET,
    )
    assert found(case, "steep-grade") == []
