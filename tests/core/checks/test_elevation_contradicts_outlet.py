"""elevation-contradicts-outlet. Known answer: the only outlet at the high end of the main (A02)."""

import builders as b
import networks
import numpy as np
import pytest
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)
DOWN = (95.3, 95.2, 95.1, 95.0)


def contradicted(**options):
    return case_of(*networks.a01_rows(upward=True, inverts=DOWN), outlets=OUTLET, **options)


def test_inverts_that_rise_from_the_outlet_are_clean():
    case = case_of(*networks.a01_rows(upward=True, inverts=DOWN[::-1]), outlets=OUTLET)
    assert found(case, "elevation-contradicts-outlet") == []


def test_the_whole_main_is_listed_with_how_far_its_far_end_lies_too_low():
    rows = found(contradicted(), "elevation-contradicts-outlet")
    assert [row.drain_id for row in rows] == ["M1", "M2", "M3"]
    assert [row.value for row in rows] == pytest.approx([0.3] * 3) and rows[0].unit == "ft"
    assert rows[0].severity == "serious" and rows[0].probability > 0.999


def test_nothing_on_it_is_called_falling_and_no_other_check_repeats_it():
    case = contradicted()
    assert "falls" not in set(case.county.piece_grades.call)
    for check_id in ("reverse-grade", "sag", "sill-downstream", "flat-grade", "steep-grade"):
        assert found(case, check_id) == []
        told = of_drains(case, check_id, "contradict")
        assert told is None or {"M1", "M2", "M3"} == told


def test_a_stretch_that_happens_to_fall_to_the_doubtful_outlet_is_not_called_falling():
    rows = networks.a01_rows(upward=True, inverts=(95.3, 95.1, 95.2, 95.0))  # M2 falls toward the outlet
    case = case_of(*rows, outlets=OUTLET)
    call = dict(zip(case.drains.drain_id[case.network.piece_drain], case.county.piece_grades.call))
    assert call["M2"] == "cannot_tell" and call["M1"] == call["M3"] == "reverse"


def test_a_difference_within_the_errors_is_no_contradiction():
    case = case_of(
        b.main("M", (0, 0), (0, 300), invert_start=95.02, invert_end=95.0, invert_error=0.05), outlets=OUTLET
    )
    assert found(case, "elevation-contradicts-outlet") == []


def test_without_inverts_nothing_is_said():
    case = case_of(*networks.a01_rows(), outlets=OUTLET)
    assert found(case, "elevation-contradicts-outlet") == []
    assert np.all(case.county.piece_grades.call == "unknown")


def test_two_outlets_are_settled_by_inverts_instead():
    main = b.main("M", (0, 0), (0, 300), invert_start=95.3, invert_end=95.0, invert_error=0.01)
    case = case_of(main, outlets=(b.outlet(0, 0, "O1"), b.outlet(0, 300, "O2")))
    assert found(case, "elevation-contradicts-outlet") == []
