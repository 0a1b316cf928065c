"""crossing-not-joined. Known answer: the pipe across the main (A03)."""

import builders as b
import networks
from cases import case_of, found

OUTLET = (b.outlet(0, 0),)


def test_pipes_that_meet_do_not_cross():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("R", (100, 50), (0, 50)), outlets=OUTLET)
    assert found(case, "crossing-not-joined") == []


def test_a_crossing_is_one_place_kept_with_the_lesser_pipe():
    (crossing,) = found(case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=5.0), "crossing-not-joined")
    assert (crossing.drain_id, crossing.at, crossing.place) == ("S", (40, 40), True)
    assert crossing.detail == "crosses M" and crossing.severity == "doubt"


def test_a_joint_that_is_disproved_or_seen_settles_it():
    for evidence in ("disproved", "seen"):
        joint = b.structure("J", "joint", 0, 250, evidence=evidence)
        case = case_of(*networks.a03_rows(), outlets=(*OUTLET, joint), tolerance=5.0)
        assert found(case, "crossing-not-joined") == []


def test_pipe_of_no_known_role_counts_as_pipe():
    case = case_of(b.pipe("A", (0, 0), (100, 0)), b.pipe("B", (50, -50), (50, 50)))
    assert [row.drain_id for row in found(case, "crossing-not-joined")] == ["B"]
