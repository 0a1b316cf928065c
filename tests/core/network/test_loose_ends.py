"""Ends from which no outlet can be reached; gaps in mains. Figures in feet."""

import builders as b
import networks
import numpy as np
import pytest
import scenario
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.loose_ends import find_loose_ends
from fallkeeper.plugin.tables import Drains, Structures
from fallkeeper.plugin.units import US_SURVEY_FOOT_M
from networks import FIVE_FT, build, ids_of_lines

OUTLET = b.outlet(0, 0)
MAIN = b.main("M", (0, 0), (0, 300))


def loose(*rows, tolerance_m=FIVE_FT, outlets=(OUTLET,), **options):
    """(drain, gap in ft, drain it could join) of every loose end."""
    network = build([MAIN, *rows], list(outlets), tolerance_m=tolerance_m, **options)
    ends = find_loose_ends(network)
    toward = [network.drains.drain_id[network.lines.drain[line]] if line >= 0 else None for line in ends.toward]
    return [(d, round(g / b.FT, 2), t) for d, g, t in zip(ids_of_lines(network, ends.line), ends.gap_m, toward)]


def test_a03_one_end_is_loose():
    network = build(networks.a03_rows(), [OUTLET], tolerance_m=FIVE_FT)
    ends = find_loose_ends(network)
    assert ids_of_lines(network, ends.line) == ["Q"]
    assert ends.xy / b.FT == pytest.approx(np.array([[12, 200]]))
    assert ends.gap_m / b.FT == pytest.approx([12.0])


@pytest.mark.parametrize("drawn_from_main", [False, True])
def test_only_the_end_nearest_to_another_drain_is_listed(drawn_from_main):
    points = [(112, 200), (12, 200)]
    assert loose(b.lateral("Q", *(points[::-1] if drawn_from_main else points))) == [("Q", 12.0, "M")]


def test_upper_ends_of_drains_that_reach_an_outlet_are_not_loose():
    assert loose(b.lateral("R", (100, 50), (0, 50)), b.lateral("K", (108, 150), (0, 150))) == []


def test_an_end_with_a_proposed_joint_is_not_also_loose():
    assert loose(b.lateral("P", (103, 150), (3, 150))) == []
    assert loose(b.lateral("P", (103, 150), (3, 150)), accept_proposed=True) == []


def test_a_lateral_that_ends_near_another_is_asked_about_the_main():
    """S5.10, N11: 40 ft from the main though another lateral lies 25 ft beside it."""
    beside = b.lateral("L", (0, 150), (871, 150))
    assert loose(beside, b.lateral("N11", (40, 175), (871, 175))) == [("N11", 40.0, "M")]


def test_a_main_without_any_pipe_near():
    network = build([b.main("M", (0, 0), (0, 300))])
    ends = find_loose_ends(network)
    assert len(ends.line) == 1
    assert ends.toward.tolist() == [-1]
    assert np.isinf(ends.gap_m).all()


def test_of_two_drains_that_hang_together_each_says_its_own_end():
    """The upper sheet of a main with its lateral: the lateral is joined, the main is loose toward the lower sheet."""
    rows = [b.main("up", (0, 380), (0, 600)), b.lateral("L", (0, 500), (300, 500))]
    assert loose(*rows) == [("up", 80.0, "M")]


def test_of_a_drain_in_parts_one_end_is_listed():
    import shapely

    parts = shapely.MultiLineString([[(112, 200), (60, 200)], [(50, 200), (12, 200)]])
    assert loose(b.lateral("Q", (0, 0), (1, 1)) | {"geometry": parts}) == [("Q", 12.0, "M")]


def test_pipe_that_carries_no_water_is_not_loose_and_lends_no_end():
    assert loose(b.lateral("Q", (112, 200), (12, 200), status="abandoned")) == []
    assert loose(b.main("old", (20, 0), (20, 300), status="removed"), b.lateral("Q", (112, 200), (32, 200))) == [
        ("Q", 32.0, "M")
    ]


def county_of(**options):
    frames = scenario.scenario_frames(**options)
    network = build_network(
        Drains.from_frame(frames["drains"]), Structures.from_frame(frames["structures"]), tolerance_m=US_SURVEY_FOOT_M
    )
    return County(network, Limits(), scenario.UNITS)


def acres_at_outlets(county):
    net, own = county.network, county.piece_area_m2
    arrived = county.down.in_pools(county.down.sum_down(own), own)[county.down.pool[net.outlets.node]]
    ids = net.structures.structure_id[net.outlets.structure]
    return dict(zip(ids, np.round(arrived / scenario.UNITS.area_m2, 3).tolist()))


def test_a05_the_gap_in_main_b():
    """Scenario S5.9: 16 laterals and the main piece above the gap have no outlet, 54 acres are left at OB."""
    county = county_of()
    assert acres_at_outlets(county) == {"OA": 80.0, "OB": 54.0}
    net = county.network
    lacking = set(net.drains.drain_id[net.drains_without_outlet])
    expected = {f"F{field}-{k:02d}" for field in (7, 8) for k in range(10, 18)}
    assert lacking == expected | {"B-3"}
    ends = find_loose_ends(net)
    said = dict(zip(ids_of_lines(net, ends.line), (ends.gap_m / US_SURVEY_FOOT_M).round(1).tolist()))
    assert said == {"B-3": 80.0}, "14 laterals join B-3, the two in the gap join each other"


def test_a05_with_the_bridge():
    county = county_of(bridged=True)
    assert acres_at_outlets(county) == {"OA": 80.0, "OB": 70.0}
    assert not len(county.network.drains_without_outlet)
    assert county.network.system_count == 2


@pytest.mark.parametrize("origin_ft", [(0.0, 0.0), (2_100_000.0, 800_000.0)])
def test_s5_1_acres_above_the_road_the_plug_and_the_hole(origin_ft):
    from fallkeeper.plugin.network.trace import place_near, trace_upstream
    from fallkeeper.plugin.trace_sums import sum_above

    county = county_of(bridged=True, origin_ft=origin_ft)
    for (x, y), acres, laterals in (
        ((1000, 1130.5), 40.0, 40), ((4000, 1130), 34.0, 34), ((1000, 905), 46.0, 46), ((4000, 430), 56.0, 56),
    ):
        xy = ((origin_ft[0] + x) * US_SURVEY_FOOT_M, (origin_ft[1] + y) * US_SURVEY_FOOT_M)
        above = sum_above(county, trace_upstream(county.network, place_near(county.network, xy, 5.0), county.down))
        assert above.area_m2 / scenario.UNITS.area_m2 == pytest.approx(acres, abs=0.001)
        assert above.lateral_count == laterals
