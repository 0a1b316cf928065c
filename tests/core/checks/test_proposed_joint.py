"""proposed-joint. Known answer: the end 3 ft short of its main (A03)."""

import builders as b
import networks
from cases import case_of, found

OUTLET = (b.outlet(0, 0),)


def test_an_exact_meeting_is_no_proposal():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("R", (100, 50), (0, 50)), outlets=OUTLET)
    assert found(case, "proposed-joint") == []


def test_an_end_within_the_tolerance_is_proposed_with_its_gap():
    (joint,) = found(case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=5.0), "proposed-joint")
    assert (joint.drain_id, joint.at, joint.place) == ("P", (100, 100), True)
    assert (joint.value, joint.limit, joint.unit) == (3.0, 5.0, "ft")
    assert joint.detail == "gap 3.0 ft to M"


def test_accepted_joints_are_not_listed():
    case = case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=5.0, accept=True)
    assert found(case, "proposed-joint") == []


def test_a_structure_settles_it():
    joint = b.structure("J", "joint", 0, 150, evidence="seen")
    case = case_of(*networks.a03_rows(), outlets=(*OUTLET, joint), tolerance=5.0)
    assert found(case, "proposed-joint") == []


def test_without_any_tolerance_nothing_is_proposed():
    assert found(case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=0.0), "proposed-joint") == []
