"""no-outlet. Known answer: the gap in main B of the sample, 16 laterals and the piece above it (A05)."""

import builders as b
import networks
import scenarios
from cases import case_of, found, where

OUTLET = (b.outlet(0, 0),)


def test_a_network_that_reaches_its_outlet_is_clean():
    case = case_of(*networks.a01_rows(), outlets=OUTLET)
    assert found(case, "no-outlet") == []


def test_a_main_cut_by_joints_is_one_row():
    laterals = [b.lateral(f"L{y}", (100, y), (0, y)) for y in range(10, 500, 10)]
    rows = where(case_of(b.main("M", (0, 0), (0, 500)), *laterals, outlets=(b.outlet(300, 300),)), "no-outlet")
    assert rows[0] == ("M", 0, 500) and len(rows) == 1 + 49 + 1  # and the outlet that lies on no pipe


def test_an_outlet_on_no_pipe_is_named_at_its_place():
    rows = found(case_of(b.main("M", (0, 0), (0, 500)), outlets=(b.outlet(300, 300, name="Old weir"),)), "no-outlet")
    stray = rows[-1]
    assert stray.place and stray.drain_id is None and stray.detail == "outlet Old weir lies on no pipe"


def test_a_drain_that_waits_for_a_proposed_joint_is_a_doubt():
    rows = found(case_of(*networks.a03_rows(), outlets=OUTLET, tolerance=5.0), "no-outlet")
    assert [(row.drain_id, row.severity) for row in rows] == [("P", "doubt"), ("Q", "serious"), ("S", "serious")]
    assert rows[0].detail == "would reach one with the proposed joints"


def test_the_gap_in_main_b_leaves_sixteen_laterals_and_the_piece_above():
    missed = {row.drain_id for row in found(scenarios.case(bridged=False), "no-outlet")}
    assert len(missed) == 17 and "B-3" in missed and {"F7-10", "F8-10", "F7-17", "F8-17"} < missed
    assert found(scenarios.case(bridged=True), "no-outlet") == []


def test_pipe_in_no_ground_needs_no_outlet():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("L", (500, 0), (600, 0), status="removed"), outlets=OUTLET)
    assert found(case, "no-outlet") == []
