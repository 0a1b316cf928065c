"""loose-end. Known answer: the main with an end that nearly meets it, one that does not and one across it (A03)."""

import builders as b
import networks
import numpy as np
from cases import case_of, found, where

OUTLET = (b.outlet(0, 0),)


def test_all_joined_is_clean():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("R", (100, 50), (0, 50)), outlets=OUTLET)
    assert found(case, "loose-end") == []


def test_only_the_end_beyond_the_tolerance_is_loose_with_its_gap():
    (loose,) = found(case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=5.0), "loose-end")
    assert (loose.drain_id, loose.at, loose.place) == ("Q", (100, 100), True)
    assert loose.value == 12.0 and loose.unit == "ft" and loose.severity == "serious"
    assert loose.detail == "12.0 ft from M"


def test_a_smaller_tolerance_makes_the_nearly_meeting_end_loose_too():
    case = case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=1.0)
    assert where(case, "loose-end") == [("P", 100, 100), ("Q", 100, 100)]


def test_with_no_other_pipe_there_is_no_gap_to_tell():
    (loose,) = found(case_of(b.lateral("L", (0, 0), (100, 0))), "loose-end")
    assert np.isnan(loose.value) and loose.detail == "no other pipe near"


def test_upper_ends_of_drains_that_reach_an_outlet_are_not_loose():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("R", (100, 50), (0, 50)), outlets=OUTLET)
    assert where(case, "loose-end") == []


def test_abandoned_pipe_is_not_loose():
    old = b.lateral("L", (100, 50), (50, 50), status="abandoned")
    case = case_of(b.main("M", (0, 0), (0, 300)), old, outlets=OUTLET)
    assert found(case, "loose-end") == []
