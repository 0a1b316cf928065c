"""deep-trench: a pipe deeper than the greatest depth."""

import builders as b
import pytest
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)
PIPE = b.main("M", (0, 0), (0, 200), invert_start=94.0, invert_end=94.5, invert_error=0.01)


def test_a_usual_depth_is_clean():
    assert found(case_of(PIPE, outlets=OUTLET, ground=lambda x, y: 98.0), "deep-trench") == []


def test_a_deep_stretch_is_found_with_its_greatest_depth():
    case = case_of(PIPE, outlets=OUTLET, ground=lambda x, y: 98.0 + y / 50)
    (row,) = found(case, "deep-trench")  # depth 4 + y/50 - y/400 = 5.2 at y = 68.6
    assert row.station_from == pytest.approx(68.57, abs=0.1) and row.at[1] == 200
    assert row.value == pytest.approx(7.5, abs=1e-3) and (row.limit, row.unit) == (5.2, "ft")
    assert row.probability > 0.99 and row.severity == "doubt"


def test_a_size_is_not_needed():
    case = case_of(PIPE, outlets=OUTLET, ground=lambda x, y: 98.0)
    assert of_drains(case, "deep-trench", "diameter") == set()


def test_without_ground_or_depth_it_is_not_checked():
    case = case_of(PIPE, outlets=OUTLET)
    assert found(case, "deep-trench") == [] and of_drains(case, "deep-trench", "choose GROUND") is None


def test_a_ground_that_does_not_fit_is_given_as_the_reason():
    case = case_of(PIPE, outlets=OUTLET, ground_fault="The ground 'dem' does not belong to these inverts.")
    assert of_drains(case, "deep-trench", "does not belong") is None
