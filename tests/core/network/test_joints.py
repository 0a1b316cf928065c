"""Where lines meet, nearly meet and cross: made joints, proposals, crossings, settled joints. Figures in feet."""

import builders as b
import networks
import numpy as np
import pytest
from fallkeeper.plugin.network.loose_ends import find_loose_ends
from networks import FIVE_FT, build, drains_of, ids_of_lines

OUTLET = b.outlet(0, 0)
MAIN = b.main("M", (0, 0), (0, 300))


def proposals(network):
    """(drain with the end, drain met, gap in ft) of every proposed joint."""
    proposed = network.proposed
    own, other = ids_of_lines(network, proposed.line), ids_of_lines(network, proposed.other)
    return [(a, o, round(g / b.FT, 3)) for a, o, g in zip(own, other, proposed.gap_m)]


def crossings(network):
    own, other = ids_of_lines(network, network.crossings.line), ids_of_lines(network, network.crossings.other)
    return {tuple(sorted(pair)) for pair in zip(own, other)}


def reach_the_outlet(network):
    return drains_of(network, network.has_outlet)


def test_a03_ends_that_nearly_meet():
    network = build(networks.a03_rows(), [OUTLET], tolerance_m=FIVE_FT)
    assert proposals(network) == [("P", "M", 3.0)]
    assert crossings(network) == {("M", "S")}
    assert reach_the_outlet(network) == {"M", "R"}
    loose = find_loose_ends(network)
    assert ids_of_lines(network, loose.line) == ["Q"]
    assert loose.gap_m / b.FT == pytest.approx([12.0])
    assert ids_of_lines(network, loose.toward) == ["M"]
    accepted = build(networks.a03_rows(), [OUTLET], tolerance_m=FIVE_FT, accept_proposed=True)
    assert reach_the_outlet(accepted) == {"M", "R", "P"}
    assert crossings(accepted) == {("M", "S")}


def test_without_lines_or_with_one_there_is_nothing_to_join():
    for rows in ([], [MAIN]):
        network = build(rows, [OUTLET])
        assert not len(network.made) and not len(network.proposed) and not len(network.crossings)


@pytest.mark.parametrize(("gap_m", "made"), [(0.0, True), (0.0099, True), (0.0101, False)])
def test_closer_than_a_centimetre_is_a_joint(gap_m, made):
    rows = [b.main("M", (0, 0), (0, 100)), b.lateral("L", (80, 50), (gap_m, 50))]
    network = build(rows, [OUTLET], unit_m=1.0)
    assert len(network.made) == made
    assert reach_the_outlet(network) == ({"M", "L"} if made else {"M"})
    assert len(network.proposed) == (not made)


def test_a_place_within_a_centimetre_of_an_end_is_that_end():
    """The end of L2 lies on M 5 mm short of the end of M: one node, and no piece of 5 mm."""
    rows = [b.main("M", (0, 0), (0, 100)), b.lateral("L", (80, 99.995), (0, 99.995))]
    network = build(rows, [OUTLET], unit_m=1.0)
    assert len(network.pieces) == 2
    assert network.pieces.length_m.min() > 1.0


def test_all_ends_and_places_at_one_spot_are_one_node():
    rows = [b.main("M1", (0, 0), (0, 100)), b.main("M2", (0, 200), (0, 100)),
            *(b.lateral(f"L{k}", xy, (0, 100)) for k, xy in enumerate(((90, 100), (-90, 100), (90, 190), (-90, 190))))]
    network = build(rows, [OUTLET])
    (node,) = np.flatnonzero(network.node_degree > 1)
    assert network.node_degree[node] == 6
    assert network.system_count == 1


@pytest.mark.parametrize("over", [0.5, 2.0, 4.9])
def test_an_overshoot_is_proposed_and_its_stub_has_no_length_no_crossing_and_no_finding(over):
    rows = [MAIN, b.lateral("L", (80, 50), (-over, 50))]
    network = build(rows, [OUTLET], tolerance_m=FIVE_FT)
    assert proposals(network) == [("L", "M", over)]
    assert not crossings(network)
    accepted = build(rows, [OUTLET], tolerance_m=FIVE_FT, accept_proposed=True)
    assert not crossings(accepted)
    lateral = accepted.piece_drain == 1
    assert accepted.pieces.length_m[lateral] / b.FT == pytest.approx([80.0]), "the stub is left out"
    assert reach_the_outlet(accepted) == {"M", "L"}
    assert not len(find_loose_ends(accepted).line)


@pytest.mark.parametrize("drawn_from_main", [False, True])
def test_a_flat_overshoot_leaves_a_long_stub_that_is_no_crossing_either(drawn_from_main):
    """The lateral meets the main at 12 degrees and runs on 4 ft past it: 19 ft of stub."""
    ends = [(200, 92.0), (-4, 48.6)]
    rows = [MAIN, b.lateral("L", *(ends[::-1] if drawn_from_main else ends))]
    accepted = build(rows, [OUTLET], tolerance_m=FIVE_FT, accept_proposed=True)
    assert len(accepted.proposed) == 1
    assert not crossings(accepted)
    assert reach_the_outlet(accepted) == {"M", "L"}


def test_an_overshoot_through_a_joint_of_two_mains_crosses_neither():
    rows = [b.main("M1", (0, 0), (0, 100)), b.main("M2", (0, 100), (0, 200)), b.lateral("L", (90, 100.2), (-2, 100.2))]
    for accept in (False, True):
        network = build(rows, [OUTLET], tolerance_m=FIVE_FT, accept_proposed=accept)
        assert len(network.proposed) == 1
        assert not crossings(network)


def test_an_overshoot_longer_than_the_tolerance_is_a_crossing():
    network = build([MAIN, b.lateral("L", (80, 50), (-5.2, 50))], [OUTLET], tolerance_m=FIVE_FT)
    assert crossings(network) == {("L", "M")}
    assert not proposals(network)


def test_a_line_that_joins_at_one_end_and_crosses_elsewhere_has_both():
    hook = b.lateral("L", (0, 50), (60, 50), (60, 150), (-60, 150))
    network = build([MAIN, hook], [OUTLET], tolerance_m=FIVE_FT)
    assert len(network.made) == 1
    assert crossings(network) == {("L", "M")}


def test_two_lines_that_share_an_inner_vertex_cross():
    rows = [b.main("M", (0, 0), (0, 50), (0, 100)), b.lateral("L", (60, 60), (0, 50), (60, 40))]
    network = build(rows, [OUTLET])
    assert crossings(network) == {("L", "M")}
    assert reach_the_outlet(network) == {"M"}


def test_an_end_proposes_one_joint_to_the_nearest_pipe():
    rows = [MAIN, b.main("N", (12, 0), (12, 300)), b.lateral("L", (80, 50), (8.5, 50))]
    outlets = [OUTLET, b.outlet(12, 0, "O2")]
    network = build(rows, outlets, tolerance_m=2 * FIVE_FT)
    assert proposals(network) == [("L", "N", 3.5)]


def test_on_a_tie_an_end_goes_before_a_place_inside_a_pipe():
    """2 ft to the inside of M and 2 ft to the end of X, which reaches no outlet."""
    rows = [MAIN, b.lateral("X", (2, 52), (70, 120)), b.lateral("L", (80, 50), (2, 50))]
    network = build(rows, [OUTLET], tolerance_m=2.5 * b.FT)
    assert ("L", "X", 2.0) in proposals(network) or ("X", "L", 2.0) in proposals(network)
    assert ("L", "M", 2.0) not in proposals(network)


def test_two_ends_that_propose_to_each_other_are_one_joint():
    rows = [b.main("M1", (0, 0), (0, 100)), b.main("M2", (0, 103), (0, 200))]
    network = build(rows, [OUTLET], tolerance_m=FIVE_FT)
    assert [gap for *_, gap in proposals(network)] == [3.0]
    accepted = build(rows, [OUTLET], tolerance_m=FIVE_FT, accept_proposed=True)
    assert reach_the_outlet(accepted) == {"M1", "M2"}
    assert accepted.pieces.length_m.sum() / b.FT == pytest.approx(197.0)


def test_two_ends_that_run_past_each_other_side_by_side_are_one_joint():
    """Both ends lie on the other line: one joint is meant, not a ring of 4 ft."""
    rows = [b.main("M1", (0, 0), (0, 102)), b.main("M2", (0.5, 98), (0.5, 200))]
    accepted = build(rows, [OUTLET], tolerance_m=FIVE_FT, accept_proposed=True)
    assert reach_the_outlet(accepted) == {"M1", "M2"}
    assert (accepted.flow.loop < 0).all()


def test_two_mains_that_both_reach_an_outlet_propose_no_joint_between_their_ends():
    rows = [b.main("M1", (0, 0), (0, 100)), b.main("M2", (0, 200), (0, 103))]
    network = build(rows, [OUTLET, b.outlet(0, 200, "O2")], tolerance_m=FIVE_FT)
    assert not proposals(network)
    lone = build(rows, [OUTLET], tolerance_m=FIVE_FT)
    assert len(proposals(lone)) == 1, "M2 without an outlet of its own is asked about"


def test_laterals_that_end_side_by_side_at_their_upper_ends_propose_nothing():
    rows = [MAIN, b.main("N", (200, 0), (200, 300)),
            b.lateral("L", (99, 50), (0, 50)), b.lateral("K", (101, 50), (200, 50))]
    network = build(rows, [OUTLET, b.outlet(200, 0, "O2")], tolerance_m=FIVE_FT)
    assert not proposals(network)


def test_near_duplicates_propose_no_joint_to_each_other():
    """S5.10: N7 lies 2 ft beside F7-01; one of the two carries nothing."""
    rows = [MAIN, b.lateral("F7-01", (0, 50), (-871.2, 50)), b.lateral("N7", (0, 52), (-871.2, 52))]
    network = build(rows, [OUTLET], tolerance_m=FIVE_FT)
    assert not proposals(network)
    assert ids_of_lines(network, network.duplicates.line) == ["N7"]


def joint(x, y, evidence):
    return b.structure("J", "joint", x, y, evidence=evidence)


@pytest.mark.parametrize("evidence", ["seen", "probed", "drawn"])
def test_a_confirmed_joint_structure_joins_what_meets_there(evidence):
    for at in ((3, 150), (0, 150), (1.5, 150)):
        network = build(networks.a03_rows(), [OUTLET, joint(*at, evidence)], tolerance_m=FIVE_FT)
        assert reach_the_outlet(network) == {"M", "R", "P"}
        assert network.applied.tolist() == [True]
        assert not len(network.drains_waiting)


@pytest.mark.parametrize("evidence", ["seen", "drawn"])
def test_a_confirmed_joint_structure_joins_a_crossing(evidence):
    network = build(networks.a03_rows(), [OUTLET, joint(0, 250, evidence)], tolerance_m=FIVE_FT)
    assert "S" in reach_the_outlet(network)
    assert not crossings(network)
    assert len(network.pieces.line[network.piece_drain == 4]) == 2, "S is two pieces, one from each side"


def test_a_disproved_joint_keeps_pipes_apart_and_is_not_asked_again():
    for accept in (False, True):
        places = [joint(x, y, "disproved") for x, y in ((2, 150), (0, 50), (0, 250))]
        network = build(networks.a03_rows(), [OUTLET, *places], tolerance_m=FIVE_FT, accept_proposed=accept)
        assert reach_the_outlet(network) == {"M"}, "neither P, nor R which meets exactly"
        assert not proposals(network)
        assert not crossings(network)


@pytest.mark.parametrize("evidence", ["assumed", None])
def test_a_joint_structure_nobody_vouches_for_changes_nothing(evidence):
    network = build(networks.a03_rows(), [OUTLET, joint(0, 150, evidence), joint(0, 250, evidence)],
                    tolerance_m=FIVE_FT)
    assert proposals(network) == [("P", "M", 3.0)]
    assert crossings(network) == {("M", "S")}


def test_a_joint_of_other_pipes_nearby_is_left_alone():
    """The joint structure stands at P and M; R joins M 20 ft away."""
    rows = [MAIN, b.lateral("P", (103, 150), (3, 150)), b.lateral("R", (103, 130), (3, 130))]
    network = build(rows, [OUTLET, joint(0, 150, "seen")], tolerance_m=FIVE_FT)
    assert network.applied.tolist() == [True, False]
    assert reach_the_outlet(network) == {"M", "P"}


def test_pipe_that_carries_no_water_joins_nothing_and_crosses_nothing():
    for status in ("proposed", "abandoned", "removed"):
        dry = [b.lateral("L", (80, 50), (0, 50), status=status), b.lateral("X", (80, 90), (-80, 90), status=status)]
        rows = [MAIN, *dry]
        network = build(rows, [OUTLET])
        assert drains_of(network, slice(None)) == {"M"}
        assert not crossings(network)
    network = build([MAIN, b.lateral("L", (80, 50), (0, 50), evidence="disproved")], [OUTLET])
    assert drains_of(network, slice(None)) == {"M"}


def test_a_tolerance_of_nought_makes_exact_joints_and_proposes_nothing():
    network = build(networks.a03_rows(), [OUTLET], tolerance_m=0.0)
    assert not proposals(network)
    assert reach_the_outlet(network) == {"M", "R"}
