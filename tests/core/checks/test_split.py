"""split. Known answer: one place with two pipes down (A04)."""

import builders as b
import networks
from cases import case_of, found


def test_a_tree_has_no_split():
    assert found(case_of(*networks.a01_rows(), outlets=(b.outlet(0, 0),)), "split") == []


def test_a_place_with_two_ways_down_is_one_row():
    outlets = (b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2"))
    (split,) = found(case_of(*networks.a04_rows(), outlets=outlets), "split")
    assert split.place and split.detail == "by S1 and S2" and split.call == "found"


def test_between_two_outlets_without_levels_the_half_way_place_is_unknown():
    outlets = (b.outlet(0, 0, "O1"), b.outlet(400, 0, "O2"))
    (split,) = found(case_of(b.main("M", (0, 0), (400, 0)), outlets=outlets), "split")
    assert (split.drain_id, split.at, split.call) == ("M", (200, 200), "unknown")


def test_a_measured_high_place_inside_a_pipe_is_found():
    shots = [b.shot("s1", 0, 0, 95.0), b.shot("s2", 100, 0, 96.0), b.shot("s3", 400, 0, 95.0)]
    case = case_of(
        b.main("M", (0, 0), (400, 0)), outlets=(b.outlet(0, 0, "O1"), b.outlet(400, 0, "O2")), shots=shots
    )
    assert [(row.at, row.call) for row in found(case, "split")] == [((100, 100), "found")]
