"""What drains through a place, and which way its water takes. Figures in feet and acres."""

import builders as b
import networks
import networkx as nx
import numpy as np
import pytest
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.trace import NoPipeError, place_near, trace_downstream, trace_upstream
from fallkeeper.plugin.trace_sums import said_above, sum_above
from fallkeeper.plugin.units import Units
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import build, drains_of

OUTLET = b.outlet(0, 0)
REACH_M = 30.0
US = Units()


def at(network, x, y):
    return place_near(network, (x * b.FT, y * b.FT), REACH_M)


def above(network, x, y):
    """Sums above a place and the drains wholly above it."""
    county = County(network, Limits(), US)
    found = trace_upstream(network, at(network, x, y), county.down)
    return sum_above(county, found), drains_of(network, found.pieces), found


def acres(sums):
    return round(sums.area_m2 / US.area_m2, 4)


def test_a01_above_a_place_on_the_main():
    network = build(networks.a01_rows(), [OUTLET])
    sums, drains, found = above(network, 0, 150)
    assert drains == {"M3", "L2", "L3", "L4"}
    assert network.drains.drain_id[network.piece_drain[found.clicked]] == "M2"
    assert (sums.piece_count, sums.lateral_count) == (4, 3)
    assert sums.length_m / b.FT == pytest.approx(2328.0)
    assert acres(sums) == 2.5
    said = "Above this place: 3 laterals, 2,328.0 ft of pipe, 2.50 acres of land, constant inflow 0.0 gal/min."
    assert said_above(sums, US) == said


def test_a01_at_the_outlet_everything():
    network = build(networks.a01_rows(), [OUTLET])
    sums, drains, _ = above(network, 0, 0)
    assert drains == {"M2", "M3", "L1", "L2", "L3", "L4"}, "all but the pipe clicked"
    assert acres(sums) == 3.5
    assert sums.length_m / b.FT == pytest.approx(300 + 3 * 871.2 + 435.6)


@pytest.mark.parametrize("upward", [False, True])
def test_at_a_joint_all_that_joins_there(upward):
    network = build(networks.a01_rows(upward=upward), [OUTLET])
    sums, drains, found = above(network, 0, 100)
    assert drains == {"M2", "M3", "L1", "L2", "L3", "L4"}
    assert network.drains.drain_id[network.piece_drain[found.clicked]] == "M1"
    assert found.from_m == pytest.approx(found.to_m), "nothing of the pipe below lies above"
    assert acres(sums) == 3.5


def test_in_the_middle_of_a_lateral_the_part_above():
    network = build(networks.a01_rows(), [OUTLET])
    sums, drains, _ = above(network, -400, 100)
    assert drains == set()
    assert (sums.piece_count, sums.lateral_count) == (0, 0)
    assert sums.length_m / b.FT == pytest.approx(471.2)
    assert acres(sums) == round(471.2 * 50 / 43560, 4)


def test_at_an_upper_end_nothing():
    network = build(networks.a01_rows(), [OUTLET])
    sums, drains, _ = above(network, -871.2, 100)
    assert drains == set()
    assert sums.length_m == pytest.approx(0)


def test_a_place_a_little_off_the_pipe_and_one_too_far():
    network = build(networks.a01_rows(), [OUTLET])
    place = at(network, 5, 150)
    assert place.distance_m / b.FT == pytest.approx(5)
    assert acres(above(network, 5, 150)[0]) == 2.5
    with pytest.raises(NoPipeError) as error:
        at(network, 0, -200)
    assert error.value.distance_m / b.FT == pytest.approx(200)
    with pytest.raises(NoPipeError) as error:
        at(build([b.main("M", (0, 0), (0, 9), status="removed")]), 0, 0)
    assert error.value.distance_m == np.inf


def test_where_a_split_lets_water_go_another_way_its_share_counts():
    network = build(networks.a04_rows(), [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")])
    sums, drains, found = above(network, 450, -50)
    assert drains == {"U"}
    assert found.weight.tolist() == [0.5]
    assert acres(sums) == 1.5
    assert sums.length_m / b.FT == pytest.approx(2613.6 / 2 + np.hypot(50, 50))


def test_at_the_split_itself_all_that_comes_to_it():
    for rows in (networks.a04_rows(), networks.a04_rows()[::-1]):
        network = build(rows, [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")])
        sums, _, found = above(network, 500, 0)
        assert network.drains.drain_id[network.piece_drain[found.clicked]] == "U"
        assert acres(sums) == 3.0


def test_shares_of_splits_one_after_another_multiply_and_meet_again():
    """A15 once more: half of L's water comes by either way round, all of it through 1O."""
    network = build(networks.a15_rows(), [OUTLET])
    assert acres(above(network, 0, 150)[0]) == 1.5
    assert acres(above(network, 25, 175)[0]) == 1.5
    sums, drains, _ = above(network, 0, 50)
    assert drains == {"L", "21", "2x", "x1"}
    assert acres(sums) == 3.0


def test_above_an_open_ring_all_of_its_water_counts_once():
    rows = networks.a15_rows()
    for row in rows:
        row["invert_start"] = row["invert_end"] = None
    network = build(rows, [OUTLET])
    sums, drains, _ = above(network, 0, 50)
    assert drains == {"L", "21", "2x", "x1"}
    assert acres(sums) == 3.0
    sums, drains, _ = above(network, 0, 150)  # in the ring itself
    assert drains == {"L", "2x", "x1"}
    assert acres(sums) == 3.0


def test_an_open_ring_far_above_does_not_undo_the_sharing_below_it():
    """A ring without levels at the head of the pipe, then a split between two outlets."""
    rows = [
        *(b.lateral("L", (500, 900), (500, 300)), b.main("N", (500, 100), (500, 0))),
        *(b.main("r1", (500, 300), (480, 200), (500, 100)), b.main("r2", (500, 300), (520, 200), (500, 100))),
        b.main("S1", (500, 0), (400, -100), invert_start=95.2, invert_end=95.0),
        b.main("S2", (500, 0), (600, -100), invert_start=95.2, invert_end=95.0),
    ]
    network = build(rows, [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")])
    sums, drains, found = above(network, 450, -50)
    assert drains == {"L", "N", "r1", "r2"}
    assert set(found.weight.tolist()) == {0.5}


def test_water_that_left_by_an_outlet_on_the_way_does_not_come_here():
    rows = [b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.3), b.lateral("L1", (0, 100), (90, 100)),
            b.lateral("L2", (0, 200), (90, 200))]
    network = build(rows, [b.outlet(0, 0, "O1"), b.outlet(0, 150, "O2")])
    assert above(network, 0, 50)[1] == {"L1", "M"}
    sums, drains, _ = above(network, 0, 150)
    assert "L2" in drains and "L1" not in drains


def test_where_the_flow_is_unknown_nothing_is_said_to_be_above():
    network = build([b.lateral("P", (0, 0), (0, 100)), b.lateral("Q", (90, 100), (0, 100))])
    sums, drains, found = above(network, 0, 50)
    assert drains == set()
    assert found.from_m == found.to_m
    way = trace_downstream(network, at(network, 0, 50))
    assert way.outlet == -1
    assert np.isnan(way.length_m)


def test_constant_inflow_above_a_place_counts_once():
    spring = b.structure("SP", "constant_inflow", 0, 200, flow=4.0)
    network = build(networks.a01_rows(), [OUTLET, spring])
    assert above(network, 0, 100)[0].inflow_m3_s == pytest.approx(4.0)
    assert above(network, 0, 0)[0].inflow_m3_s == pytest.approx(4.0)
    assert above(network, 0, 250)[0].inflow_m3_s == 0.0, "it stands below"


def below(network, x, y):
    way = trace_downstream(network, at(network, x, y))
    return network.drains.drain_id[network.piece_drain[way.pieces]].tolist(), way


@pytest.mark.parametrize("upward", [False, True])
def test_a01_the_way_down(upward):
    network = build(networks.a01_rows(upward=upward), [OUTLET])
    drains, way = below(network, 0, 150)
    assert drains == ["M2", "M1"]
    assert way.length_m / b.FT == pytest.approx(150)
    assert network.structures.structure_id[network.outlets.structure[way.outlet]] == "O"
    drains, way = below(network, -871.2, 200)
    assert drains == ["L2", "M2", "M1"]
    assert way.length_m / b.FT == pytest.approx(1071.2)


def test_the_way_down_from_the_outlet_itself_has_no_length():
    way = below(build(networks.a01_rows(), [OUTLET]), 0, 0)[1]
    assert way.length_m == pytest.approx(0)
    assert way.outlet == 0


def test_where_pipes_part_the_shortest_way_is_shown():
    drains, way = below(build(networks.a15_rows(), [OUTLET]), 0, 250)
    assert drains == ["L", "21", "1O"]
    assert way.length_m / b.FT == pytest.approx(250)


def test_from_a_ring_open_both_ways_the_shorter_way_round():
    rows = [b.main("M", (0, 0), (0, 50)), b.main("R", (0, 50), (-90, 60), (-90, 200), (0, 210), (30, 130), (0, 50))]
    network = build(rows, [OUTLET])
    near_start, near_end = below(network, -45, 55)[1], below(network, 15, 90)[1]
    assert near_start.length_m / b.FT == pytest.approx(50 + np.hypot(45, 5))
    assert near_end.length_m / b.FT == pytest.approx(50 + np.hypot(15, 40))


def test_of_two_outlets_the_nearer_on_the_way():
    rows = [b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.3)]
    network = build(rows, [b.outlet(0, 0, "O1"), b.outlet(0, 150, "O2")])
    way = below(network, 0, 250)[1]
    assert way.length_m / b.FT == pytest.approx(100)


def test_without_outlet_the_way_ends_where_the_water_stays():
    rows = [b.pipe("P", (0, 0), (0, 100), invert_start=95.0, invert_end=95.1), b.pipe("Q", (90, 100), (0, 100))]
    drains, way = below(build(rows), 90, 100)
    assert drains == ["Q", "P"]
    assert way.outlet == -1
    assert np.isnan(way.length_m)


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=30), st.randoms(use_true_random=False))
def test_in_any_tree_the_pieces_above_are_the_ancestors(parents, random):
    """Node k + 1 lies on a spiral, so that no two pipes meet by chance; its pipe leads to a node drawn before it."""
    turn = np.arange(len(parents) + 1)
    xy = np.column_stack([np.cos(turn * 2.4), np.sin(turn * 2.4)]) * np.sqrt(turn + 1.0)[:, None] * 200
    below_ = [p % (k + 1) for k, p in enumerate(parents)]
    rows = []
    for k, foot in enumerate(below_):
        ends = [tuple(xy[k + 1]), tuple(xy[foot])]
        rows.append(b.pipe(str(k + 1), *(ends if random.random() < 0.5 else ends[::-1])))
    random.shuffle(rows)
    network = build(rows, [b.outlet(*xy[0])], tolerance_m=0.0)
    if len(network.duplicates.line) or len(network.pieces) != len(rows):
        return  # pipes that touch by chance make another network
    tree = nx.DiGraph((k + 1, foot) for k, foot in enumerate(below_))
    county = County(network, Limits(), US)
    for piece in range(len(network.pieces)):
        drain = network.drains.drain_id[network.piece_drain[piece]]
        middle = (network.pieces.from_m[piece] + network.pieces.to_m[piece]) / 2
        place = at(network, *(network.lines.points_at(network.pieces.line[[piece]], np.array([middle]))[0] / b.FT))
        if place.piece != piece:
            continue  # another pipe crosses here
        found = trace_upstream(network, place, county.down)
        assert drains_of(network, found.pieces) == {str(n) for n in nx.ancestors(tree, int(drain))}
        assert len(trace_downstream(network, place).pieces) == nx.shortest_path_length(tree, int(drain), 0)
