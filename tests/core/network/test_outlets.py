"""Where water leaves the network. Figures in feet."""

import builders as b
import networks
import numpy as np
import pytest
from networks import FIVE_FT, build, drains_of, flow_between

MAIN = b.main("M", (0, 0), (0, 300))


def outlets(network):
    """Place of every outlet -> (id of its structure or None, whether it is assumed)."""
    found = network.outlets
    ids = [network.structures.structure_id[row] if row >= 0 else None for row in found.structure]
    places = np.round(network.nodes.xy[found.node] / b.FT).astype(int)
    return {tuple(xy): (key, bool(assumed)) for xy, key, assumed in zip(places.tolist(), ids, found.assumed)}


def past(network):
    """(drain, from, to in ft) of pipe beyond an outlet."""
    beyond = network.past_outlet
    drains = network.drains.drain_id[network.lines.drain[beyond.line]]
    return [(d, round(f / b.FT), round(t / b.FT)) for d, f, t in zip(drains, beyond.from_m, beyond.to_m)]


def test_a_structure_at_the_end_of_a_pipe():
    network = build([MAIN], [b.outlet(0, 0, "OA")])
    assert outlets(network) == {(0, 0): ("OA", False)}


@pytest.mark.parametrize(("gap", "found"), [(4.9, True), (5.1, False)])
def test_a_structure_within_the_tolerance_of_an_end(gap, found):
    network = build([MAIN], [b.outlet(0, -gap, "OA")], tolerance_m=FIVE_FT)
    assert (outlets(network) == {(0, 0): ("OA", False)}) == found
    assert network.off_pipe_outlets.tolist() == ([] if found else [0])


def test_an_outlet_on_no_pipe_is_listed_and_pipe_without_water_does_not_hold_it():
    rows = [MAIN, b.main("old", (50, 0), (50, 300), status="abandoned")]
    network = build(rows, [b.outlet(0, 0, "OA"), b.outlet(50, 0, "OB")])
    assert outlets(network) == {(0, 0): ("OA", False)}
    assert network.structures.structure_id[network.off_pipe_outlets].tolist() == ["OB"]


def test_structures_of_other_kinds_are_no_outlets():
    kinds = ("surface_inlet", "junction_box", "stub_end", "constant_inflow", None)
    marks = [b.structure(f"S{k}", kind, 0, 0) for k, kind in enumerate(kinds)]
    network = build([MAIN, b.main("N", (50, 0), (50, 300))], [*marks, b.outlet(50, 0, "OB")])
    assert outlets(network) == {(50, 0): ("OB", False)}


def test_two_structures_at_one_end_are_one_outlet():
    network = build([MAIN], [b.outlet(0, 0, "OA"), b.outlet(0, 0.5, "OB")])
    assert list(outlets(network)) == [(0, 0)]
    assert not len(network.off_pipe_outlets)


def test_an_outlet_belongs_rather_to_the_main_than_to_a_lateral_beside_it():
    rows = [b.lateral("L", (-80, 1), (0, 1)), MAIN]
    network = build(rows, [b.outlet(0, 0.6, "OA")], tolerance_m=FIVE_FT)
    assert outlets(network) == {(0, 0): ("OA", False)}


def test_the_free_end_of_an_outlet_pipe():
    rows = [b.pipe("P", (0, 0), (0, 20), role="outlet_pipe"), b.main("M", (0, 20), (0, 300))]
    network = build(rows)
    assert outlets(network) == {(0, 0): (None, False)}
    assert ("M", (0, 300), (0, 20)) in flow_between(network)


def test_an_outlet_pipe_counts_in_systems_that_nobody_marked_only():
    rows = [b.pipe("P", (0, 0), (0, 20), role="outlet_pipe"), b.main("M", (0, 20), (0, 300)),
            b.pipe("R", (50, 0), (50, 20), role="outlet_pipe"), b.main("N", (50, 20), (50, 300))]
    network = build(rows, [b.outlet(0, 0.5, "OA")])
    assert outlets(network) == {(0, 0): ("OA", False), (50, 0): (None, False)}


def test_a_lone_outlet_pipe_with_two_free_ends_flows_by_its_inverts():
    known = {"invert_start": 95.2, "invert_end": 95.0}
    network = build([b.pipe("P", (0, 0), (0, 20), role="outlet_pipe", **known)])
    assert outlets(network) == {(0, 20): (None, False)}
    assert outlets(build([b.pipe("P", (0, 0), (0, 20), role="outlet_pipe")])) == {}


def test_the_free_end_of_the_single_main_is_assumed():
    network = build(networks.a01_rows())
    assert outlets(network) == {(0, 0): (None, True)}
    assert ("M3", (0, 300), (0, 200)) in flow_between(network)


def test_a_main_in_one_drain_with_both_ends_free_goes_by_inverts_or_not_at_all():
    laterals = [b.lateral("L1", (0, 100), (90, 100)), b.lateral("L2", (0, 200), (90, 200))]
    assert outlets(build([MAIN, *laterals])) == {}
    falling = b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.3)
    assert outlets(build([falling, *laterals])) == {(0, 0): (None, True)}


def test_a_system_with_two_mains_assumes_nothing():
    """Two mains that meet only through a lateral: neither end is likelier."""
    rows = [MAIN, b.main("N", (200, 0), (200, 300)), b.lateral("L", (0, 300), (200, 300))]
    assert outlets(build(rows)) == {}


def test_nothing_is_assumed_where_somebody_marked_an_outlet():
    """In a layer with one marked outlet the other systems lack one, and say so."""
    rows = [*networks.a01_rows(), b.main("N", (2000, 0), (2000, 300)), b.lateral("K", (2000, 300), (2100, 300))]
    network = build(rows, [b.outlet(0, 0, "OA")])
    assert outlets(network) == {(0, 0): ("OA", False)}
    assert drains_of(network, ~network.has_outlet) == {"N", "K"}


def test_nothing_is_assumed_where_an_outlet_pipe_lies_apart():
    """2 ft short of the main: the gap has to show, so the end of the main is no outlet."""
    apart = b.pipe("P", (0, -22), (0, -2), role="outlet_pipe")
    assert outlets(build([*networks.a01_rows(), apart])) == {}


def test_nothing_is_assumed_where_another_part_of_the_layer_marks_an_outlet():
    assert outlets(build(networks.a01_rows(), outlet_elsewhere=True)) == {}


def test_where_a_joint_is_proposed_a_main_does_not_end_in_the_open():
    """The upper sheet of a main: 3 ft short of the lower one, which has its other end in a ditch."""
    rows = [b.main("low", (0, 0), (0, 100)), b.main("up", (0, 103), (0, 300)), b.lateral("L", (0, 300), (90, 300)),
            b.lateral("K", (0, 100), (90, 100))]
    network = build(rows, tolerance_m=FIVE_FT)
    assert (0, 103) not in outlets(network)


def test_without_roles_nothing_is_assumed():
    network = build([b.pipe("P", (0, 0), (0, 100)), b.pipe("Q", (0, 100), (0, 200))])
    assert outlets(network) == {}


def test_a_line_drawn_on_through_its_outlet():
    rows = [b.main("M", (0, -20), (0, 300)), b.lateral("L", (0, 100), (90, 100))]
    network = build(rows, [b.outlet(0, 0, "OA")])
    assert outlets(network) == {(0, 0): ("OA", False)}
    assert past(network) == [("M", 0, 20)]
    assert flow_between(network) == {
        ("M", (0, 100), (0, 0)), ("M", (0, 300), (0, 100)), ("L", (90, 100), (0, 100)),
    }


def test_with_a_lateral_at_the_outlet_the_part_beyond_is_still_beyond():
    rows = [b.main("M", (0, -20), (0, 300)), b.lateral("L", (0, 0), (90, 0)), b.lateral("K", (0, 100), (90, 100))]
    network = build(rows, [b.outlet(0, 0, "OA")])
    assert past(network) == [("M", 0, 20)]
    assert ("L", (90, 0), (0, 0)) in flow_between(network)


def test_of_a_bare_line_the_lower_part_lies_beyond_without_levels_the_shorter():
    outlet = [b.outlet(0, 100, "OA")]
    assert past(build([MAIN], outlet)) == [("M", 0, 100)]
    falling = b.main("M", (0, 0), (0, 300), invert_start=95.3, invert_end=95.0)
    assert past(build([falling], outlet)) == [("M", 100, 300)]


def test_a_bare_end_that_lies_higher_is_pipe_above_the_outlet():
    rows = [b.main("M", (0, -50), (0, 300), invert_start=95.2, invert_end=95.4), b.lateral("L", (0, 100), (90, 100))]
    network = build(rows, [b.outlet(0, 0, "OA")], [b.shot("s", 0, 0, 95.0)])
    assert past(network) == []
    assert ("M", (0, -50), (0, 0)) in flow_between(network)


def test_pipe_with_laterals_on_both_sides_of_an_outlet_is_above_it():
    laterals = [b.lateral("L", (0, 100), (90, 100)), b.lateral("K", (0, -100), (90, -100))]
    rows = [b.main("M", (0, -200), (0, 300)), *laterals]
    network = build(rows, [b.outlet(0, 0, "OA")])
    assert past(network) == []
    assert {("M", (0, 100), (0, 0)), ("M", (0, -100), (0, 0))} <= flow_between(network)


def test_pipe_on_to_another_outlet_is_not_beyond():
    network = build([MAIN], [b.outlet(0, 0, "OA"), b.outlet(0, 100, "OB"), b.outlet(0, 300, "OC")])
    assert past(network) == []
    assert len(outlets(network)) == 3
