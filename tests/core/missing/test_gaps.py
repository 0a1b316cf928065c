"""Gaps in mains. Figures in feet and acres."""

import builders as b
import numpy as np
import pytest
import scenarios
from combs import US, county, in_feet, turned
from fallkeeper.plugin.missing.gaps import gaps_in_mains
from hypothesis import given, settings
from hypothesis import strategies as st

OUTLET = [b.outlet(0, 0)]


def two_sheets(gap=80.0, bend=0.0, grade=0.001, step=0.0, **upper):
    """A main to (0, 500), going on beyond a gap; laterals of one acre on both. `step` lifts the upper part."""
    turn = np.radians(bend)
    foot = np.array([0.0, 500 + gap])
    head = foot + 400 * np.array([np.sin(turn), np.cos(turn)])

    def z(along):
        return 95 + grade * along

    low = {"invert_start": z(0), "invert_end": z(500), "diameter": 12.0, "located_by": "level"}
    high = {"invert_start": z(500 + gap) + step, "invert_end": z(900 + gap) + step, "diameter": 12.0,
            "located_by": "level"}
    return [
        b.main("low", (0, 0), (0, 500), **low), b.main("high", tuple(foot), tuple(head), **{**high, **upper}),
        b.lateral("a", (871.2, 300), (0, 300)), b.lateral("c", (foot[0] + 871.2, foot[1]), tuple(foot)),
        b.lateral("d", (head[0] - 871.2, head[1]), tuple(head)),
    ]


def open_foot(rows):
    """Nothing joins at the foot of the upper sheet."""
    return [row for row in rows if row["drain_id"] != "c"]


def test_a_bridge_with_its_reasons():
    (found,) = gaps_in_mains(county(open_foot(two_sheets()), OUTLET))
    assert in_feet(found.geometry) == pytest.approx(np.array([[0, 580], [0, 500]]), abs=0.1)
    assert found.area_m2 / US.area_m2 == pytest.approx(1.0, abs=0.001)
    assert found.confidence == "likely"
    said = "; ".join(found.reasons)
    assert "80.0 ft between the ends of high and low, in line to 0 degrees" in said
    assert "same size, 12 in" in said
    assert "fall 0.100 % across it, 0.100 % beside it" in said
    assert found.diameter_m == pytest.approx(12 * b.IN)
    assert found.flow_known


@pytest.mark.parametrize(("change", "confidence", "said"), [
    ({"diameter": 10.0}, "a guess", "sizes differ: 10 in and 12 in"),
    ({"diameter": None}, "possible", "sizes unknown above and 12 in below"),
    ({"invert_start": None, "invert_end": None}, "possible", "not all inverts at the gap are known"),
    ({"invert_start": 94.0}, "a guess", "the inverts would rise"),
])
def test_what_speaks_against_it_is_said(change, confidence, said):
    (found,) = gaps_in_mains(county(open_foot(two_sheets(**change)), OUTLET))
    assert found.confidence == confidence
    assert any(said in reason for reason in found.reasons)


def test_pipe_across_the_gap_is_named():
    rows = [*open_foot(two_sheets()), b.main("X", (-200, 540), (200, 540))]
    (found,) = gaps_in_mains(county(rows, OUTLET))
    assert found.reasons[-1] == "it would cross X"
    assert found.confidence == "possible"


@pytest.mark.parametrize("options", [{"gap": 300.0}, {"bend": 70.0}])
def test_no_bridge_too_long_or_round_a_corner(options):
    assert gaps_in_mains(county(open_foot(two_sheets(**options)), OUTLET)) == []


def test_no_bridge_where_both_parts_have_an_outlet():
    rows = open_foot(two_sheets())
    head = b.shapely.get_coordinates(rows[1]["geometry"])[1]
    outlets = [*OUTLET, b.outlet(head[0] - 871.2, head[1], "O2")]
    assert gaps_in_mains(county(rows, outlets)) == []


def test_several_gaps_one_after_another():
    """Each bridge has the land behind it at stake, the lowest all of it."""
    rows = [b.main(f"M{k}", (0, 300 * k), (0, 300 * k + 240)) for k in range(3)]
    rows += [b.lateral(f"L{k}", (871.2, 300 * k + 100), (0, 300 * k + 100)) for k in range(3)]
    found = gaps_in_mains(county(rows, OUTLET))
    acres = {round(float(in_feet(one.geometry)[-1, 1])): round(one.area_m2 / US.area_m2, 3) for one in found}
    assert acres == {240: 2.0, 540: 1.0}


def test_laterals_back_to_back_are_not_joined():
    """Upper ends of two rows look at each other; the row without main has no outlet."""
    rows = [b.lateral(f"E{k}", (10, 50 * k), (500, 50 * k)) for k in range(5)]
    rows += [b.lateral(f"W{k}", (-10, 50 * k), (-500, 50 * k)) for k in range(5)]
    rows.append(b.main("M", (-500, 200), (-500, 0)))
    assert gaps_in_mains(county(rows, [b.outlet(-500, 0)], tolerance_m=0.3)) == []


def test_a_lateral_drawn_on_two_sheets_is_bridged_where_inverts_bear_it_out():
    rows = [b.main("M", (0, 100), (0, 0)),
            b.lateral("in", (0, 100), (300, 100), invert_start=95.0, invert_end=95.3),
            b.lateral("out", (360, 100), (700, 100), invert_start=95.36, invert_end=95.7)]
    (found,) = gaps_in_mains(county(rows, OUTLET))
    assert in_feet(found.geometry) == pytest.approx(np.array([[360, 100], [300, 100]]), abs=0.1)
    rows[2].update(invert_start=95.7, invert_end=95.36)
    assert gaps_in_mains(county(rows, OUTLET)) == []


@settings(max_examples=20, deadline=None)
@given(st.floats(-180, 180), st.floats(10, 190), st.floats(-15, 15), st.booleans(), st.booleans())
def test_any_bearing_length_and_small_bend(degrees, gap, bend, one, two):
    rows = open_foot(two_sheets(gap, bend))
    for row, back in zip(rows, (one, two)):
        if back:
            row["geometry"] = b.shapely.reverse(row["geometry"])
            row["invert_start"], row["invert_end"] = row["invert_end"], row["invert_start"]
    frame = {"degrees": degrees, "east": 2e6, "north": 8e5}
    place = turned([{"geometry": b.shapely.Point(0, 0)}], **frame)[0]["geometry"]
    (found,) = gaps_in_mains(county(turned(rows, **frame), [b.outlet(place.x, place.y)]))
    assert in_feet(found.geometry, **frame) == pytest.approx(np.array([[0, 500 + gap], [0, 500]]), abs=0.5)


def test_a05_the_gap_of_the_sample():
    """80 ft; 16 laterals have no outlet, two of them inside the gap; with the bridge 70 acres come to OB."""
    case = scenarios.case(False, False)
    (found,) = gaps_in_mains(case.county)
    xy = b.shapely.get_coordinates(found.geometry) / case.units.foot_m
    assert xy == pytest.approx(np.array([[4000, 1690], [4000, 1610]]), abs=0.1)
    assert found.area_m2 / case.units.area_m2 == pytest.approx(16.0, abs=0.001)
    assert found.confidence == "likely"
    assert (found.invert_start_m / case.units.foot_m, found.invert_end_m / case.units.foot_m) == pytest.approx(
        (697.29, 697.21), abs=1e-3)
    assert gaps_in_mains(scenarios.case(True, False).county) == []


def test_what_a_proposed_joint_would_drain_needs_no_bridge():
    """The upper sheet has a lateral that nearly meets another main: the joint is what lacks."""
    rows = [*open_foot(two_sheets()), b.main("other", (-875, 980), (-3000, 980))]
    outlets = [*OUTLET, b.outlet(-3000, 980, "O2")]
    assert len(gaps_in_mains(county(rows, outlets, tolerance_m=0.1))) == 1
    assert gaps_in_mains(county(rows, outlets, tolerance_m=2.0)) == []
