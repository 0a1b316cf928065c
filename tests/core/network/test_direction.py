"""Which way the water flows. Figures in feet."""

import builders as b
import networks
import numpy as np
import pytest
from networks import build, drains_of, flow_between

OUTLET = b.outlet(0, 0)
MAIN_OF_300 = b.main("M", (0, 0), (0, 300))
AT_BOTH_ENDS = [b.outlet(0, 0, "O1"), b.outlet(0, 300, "O2")]

A01_FLOW = {
    ("M1", (0, 100), (0, 0)), ("M2", (0, 200), (0, 100)), ("M3", (0, 300), (0, 200)), ("L1", (-871, 100), (0, 100)),
    ("L2", (-871, 200), (0, 200)), ("L3", (871, 200), (0, 200)), ("L4", (-436, 300), (0, 300)),
}


def against_drawing(network):
    return drains_of(network, network.direction < 0)


def test_a01_all_flows_to_the_outlet():
    network = build(networks.a01_rows(), [OUTLET])
    assert flow_between(network) == A01_FLOW
    assert against_drawing(network) == {"L1"}


def test_a02_drawing_direction_is_no_evidence():
    rows = networks.a01_rows(upward=True, inverts=(95.0, 95.1, 95.2, 95.3))
    network = build(rows, [OUTLET])
    assert flow_between(network) == A01_FLOW
    assert against_drawing(network) == {"M1", "M2", "M3", "L1"}


def test_a02_the_only_outlet_decides_even_against_the_inverts():
    rows = networks.a01_rows(upward=True, inverts=(95.3, 95.2, 95.1, 95.0))
    assert flow_between(build(rows, [OUTLET])) == A01_FLOW


def test_a04_a_ring_without_outlet_and_without_inverts_is_open_both_ways():
    network = build(networks.a04_rows()[:3])
    assert {drain for drain, *_, how in flow_between(network) if how == "open"} == {"AB", "BC", "CA"}
    assert len(set(network.flow.loop.tolist())) == 1


def test_a04_a_split_flows_down_both_pipes():
    network = build(networks.a04_rows(), [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")])
    assert {("S1", (500, 0), (400, -100)), ("S2", (500, 0), (600, -100)), ("U", (500, 2614), (500, 0))} <= flow_between(
        network
    )
    assert drains_of(network, network.flow.loop >= 0) == {"AB", "BC", "CA"}


def test_a15_inverts_decide_round_a_ring():
    network = build(networks.a15_rows(), [OUTLET])
    assert flow_between(network) == {
        ("1O", (0, 100), (0, 0)), ("21", (0, 200), (0, 100)), ("2x", (0, 200), (50, 150)), ("x1", (50, 150), (0, 100)),
        ("L", (0, 2814), (0, 200)),
    }
    assert drains_of(network, network.flow.loop >= 0) == {"21", "2x", "x1"}


@pytest.mark.parametrize("unknown", ["21", "2x"])
def test_a_ring_in_which_a_level_is_unknown_is_open_both_ways(unknown):
    """Inverts of neighbours are not borrowed at the far end of x1; only that of node 2 has two witnesses."""
    rows = networks.a15_rows()
    for row in rows:
        if row["drain_id"] in ("21", "2x", "x1"):
            row["invert_start"] = row["invert_end"] = None
    network = build(rows, [OUTLET])
    assert {how for drain, *_, how in flow_between(network) if drain in ("21", "2x", "x1")} == {"open"}
    assert ("1O", (0, 100), (0, 0)) in flow_between(network)
    assert ("L", (0, 2814), (0, 200)) in flow_between(network)
    assert unknown in drains_of(network, network.open_both_ways)


def test_both_ends_of_one_pipe_on_the_same_main_are_a_ring():
    rows = [MAIN_OF_300, b.lateral("U", (0, 100), (80, 100), (80, 200), (0, 200))]
    network = build(rows, [OUTLET])
    assert drains_of(network, network.flow.loop >= 0) == {"M", "U"}
    assert network.flow.loop[network.direction != 0].tolist() == [-1, -1], "the main below and above the ring flows"
    assert ("M", (0, 100), (0, 0)) in flow_between(network)


def test_a_pipe_that_ends_where_it_begins_is_a_ring():
    for start in ((0, 100), (0, 300)):
        x, y = start
        rows = [MAIN_OF_300, b.pipe("R", start, (x + 40, y), (x + 40, y + 40), start)]
        network = build(rows, [OUTLET])
        assert drains_of(network, network.flow.loop >= 0) == {"R"}
        assert drains_of(network, network.open_both_ways) == {"R"}
        assert ("M", (0, 300), (0, 0)) in flow_between(network) or ("M", (0, 300), (0, 100)) in flow_between(network)


def test_two_outlets_without_levels_each_take_the_nearer_half():
    rows = [MAIN_OF_300, b.lateral("L1", (0, 100), (100, 100)), b.lateral("L2", (0, 250), (100, 250))]
    network = build(rows, AT_BOTH_ENDS)
    assert flow_between(network) == {
        ("M", (0, 100), (0, 0)), ("M", (0, 150), (0, 100)), ("M", (0, 150), (0, 250)), ("M", (0, 250), (0, 300)),
        ("L1", (100, 100), (0, 100)), ("L2", (100, 250), (0, 250)),
    }
    assert network.nodes.xy[network.assumed_divide_nodes] / b.FT == pytest.approx(np.array([[0, 150]]))


def test_two_outlets_with_inverts_flow_the_way_the_pipe_falls():
    fall = {"invert_start": 95.0, "invert_end": 95.6}
    network = build([b.main("M", (0, 0), (0, 300), **fall)], AT_BOTH_ENDS)
    assert flow_between(network) == {("M", (0, 300), (0, 0))}
    assert not len(network.assumed_divide_nodes)


def test_two_outlets_and_a_summit_between_drains():
    """95.0 and 95.1 at the outlets, 95.5 where the two mains meet: each flows to its own."""
    rows = [b.main("M", (0, 0), (0, 200), invert_start=95.0, invert_end=95.5),
            b.main("N", (0, 200), (0, 300), invert_start=95.5, invert_end=95.1)]
    network = build(rows, AT_BOTH_ENDS)
    assert flow_between(network) == {("M", (0, 200), (0, 0)), ("N", (0, 200), (0, 300))}


def test_a_shot_inside_a_drain_shows_that_it_flows_both_ways():
    main = b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.1)
    network = build([main], AT_BOTH_ENDS, [b.shot("s", 0, 200, 95.5)])
    assert flow_between(network) == {("M", (0, 200), (0, 0)), ("M", (0, 200), (0, 300))}
    assert not len(network.assumed_divide_nodes), "a level tells, nothing is assumed"


def test_a_shot_below_the_ends_does_not_part_the_water():
    main = b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.6)
    network = build([main], AT_BOTH_ENDS, [b.shot("s", 0, 200, 94.8)])
    assert flow_between(network) == {("M", (0, 300), (0, 0))}


def test_with_one_outlet_a_high_point_does_not_turn_the_water():
    """It is a fault of the grade, found there; the water has no other way."""
    main = b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.1)
    network = build([main], [OUTLET], [b.shot("s", 0, 200, 95.5)])
    assert flow_between(network) == {("M", (0, 300), (0, 0))}


def test_three_outlets_on_one_main():
    rows = [b.main("M", (0, 0), (0, 300))]
    network = build(rows, [*AT_BOTH_ENDS, b.outlet(0, 100, "O3")])
    assert flow_between(network) == {
        ("M", (0, 50), (0, 0)), ("M", (0, 50), (0, 100)), ("M", (0, 200), (0, 100)), ("M", (0, 200), (0, 300)),
    }


def test_without_an_outlet_inverts_decide():
    rows = [b.pipe("P", (0, 0), (0, 100), invert_start=95.0, invert_end=95.1), b.pipe("Q", (90, 100), (0, 100))]
    network = build(rows)
    assert not len(network.outlets)
    assert flow_between(network) == {("P", (0, 100), (0, 0)), ("Q", (90, 100), (0, 100))}


def test_without_an_outlet_and_without_levels_nothing_is_said():
    rows = [b.pipe("P", (0, 0), (0, 100)), b.pipe("Q", (90, 100), (0, 100))]
    network = build(rows)
    assert {how for *_, how in flow_between(network)} == {"unknown"}
    assert not network.open_both_ways.any()


def test_equal_levels_tell_nothing():
    network = build([b.pipe("P", (0, 0), (0, 100), invert_start=95.0, invert_end=95.0)])
    assert {how for *_, how in flow_between(network)} == {"unknown"}


def test_a_ring_without_outlet_runs_down_by_inverts():
    z = {"A": 95.2, "B": 95.0, "C": 95.1}
    places = {"A": (0, 0), "B": (100, 0), "C": (50, 80)}
    rows = [
        b.pipe(u + v, places[u], places[v], invert_start=z[u], invert_end=z[v]) for u, v in ("AB", "BC", "CA")
    ]
    network = build(rows)
    assert flow_between(network) == {
        ("AB", (0, 0), (100, 0)), ("BC", (50, 80), (100, 0)), ("CA", (0, 0), (50, 80)),
    }
    assert (network.flow.loop == 0).all()


def test_two_parallel_pipes_between_the_same_joints_both_survive():
    rows = [
        b.main("M1", (0, 0), (0, 100), invert_start=95.0, invert_end=95.1),
        b.main("left", (0, 100), (-9, 150), (0, 200), invert_start=95.1, invert_end=95.2),
        b.main("right", (0, 100), (9, 150), (0, 200), invert_start=95.1, invert_end=95.2),
        b.main("M3", (0, 200), (0, 300), invert_start=95.2, invert_end=95.3),
    ]
    network = build(rows, [OUTLET])
    assert {("left", (0, 200), (0, 100)), ("right", (0, 200), (0, 100))} <= flow_between(network)
    assert drains_of(network, network.flow.loop >= 0) == {"left", "right"}
    graph = network.graph(1)
    assert sorted(graph.out_degree(u) for u, _, (drain, *_) in graph.edges(keys=True) if drain == "left") == [2]


def test_the_graph_is_keyed_by_drain_and_stations():
    graph = build(networks.a01_rows(), [OUTLET]).graph(1)
    keys = {(key[0], round(key[1] / b.FT), round(key[2] / b.FT)) for *_, key in graph.edges(keys=True)}
    assert ("M2", 0, 100) in keys
    assert ("L4", 0, 436) in keys
    assert len(keys) == 7


def test_open_pieces_have_an_edge_each_way_and_unknown_ones_none():
    rows = [*networks.a04_rows()[:3], b.pipe("lone", (900, 900), (999, 900))]
    network = build(rows)
    assert network.graph(1).number_of_edges() == 6
    assert network.graph(2).number_of_edges() == 0
    assert network.graph(2).number_of_nodes() == 2
