"""Walks along pipes: to the outlet, between two places, and stations along them."""

import builders as b
import numpy as np
import pytest
import reroutes
from fallkeeper.plugin.network.trace import place_near
from fallkeeper.plugin.network.walk import NoWayError, walk_between, walk_up_from_outlet
from hypothesis import given, settings
from hypothesis import strategies as st

ROWS = [b.main("M", (0, 0), (0, 400)), b.lateral("L", (0, 100), (150, 100)), b.lateral("K", (-150, 300), (0, 300)),
        b.main("N", (900, 0), (900, 400))]
COUNTY = reroutes.county_of(*ROWS, outlets=[b.outlet(0, 0), b.outlet(900, 0, "P")]).county
NET = COUNTY.network


def at(x, y):
    return place_near(NET, (x * b.FT, y * b.FT), 1.0)


def stations(walk):
    """First and last station, ft."""
    ends = walk.first_station_m, walk.first_station_m + walk.whole_m
    return tuple(round(end / b.FT, 6) for end in ends)


def where(walk, station):
    """The place of a station, ft."""
    line, at_m = walk.place_at(NET, station * b.FT)
    return tuple(np.round(NET.lines.points_at(np.array([line]), np.array([at_m]))[0] / b.FT, 6).tolist())


def test_from_the_outlet_up_to_a_place():
    walk = walk_up_from_outlet(NET, at(100, 100))
    assert stations(walk) == (0, 200) and walk.flows_back
    assert (where(walk, 0), where(walk, 50), where(walk, 150)) == ((0, 0), (0, 50), (50, 100))


def test_between_two_places_of_one_way_stations_count_from_the_outlet_in_either_order():
    for walk in (walk_between(NET, at(100, 100), at(0, 40)), walk_between(NET, at(0, 40), at(100, 100))):
        assert stations(walk) == (40, 200) and walk.flows_back
        assert where(walk, 40) == (0, 40) and where(walk, 200) == (100, 100)


def test_between_two_laterals_the_way_leads_over_the_main():
    walk = walk_between(NET, at(100, 100), at(-60, 300))
    assert stations(walk) == (0, 360) and not walk.flows_back and np.isnan(walk.base_m)
    assert [where(walk, s) for s in (0, 100, 200, 360)] == [(100, 100), (0, 100), (0, 200), (-60, 300)]


def test_two_systems_have_no_way():
    with pytest.raises(NoWayError, match="two systems"):
        walk_between(NET, at(0, 50), at(900, 50))


def test_the_same_place_twice_has_no_length():
    assert walk_between(NET, at(0, 50), at(0, 50)).whole_m == 0.0


PLACES = st.sampled_from([(0, y) for y in range(1, 400, 7)] + [(x, 100) for x in range(1, 150, 7)]
                         + [(x, 300) for x in range(-149, 0, 7)])


@settings(max_examples=60, deadline=None)
@given(PLACES, PLACES)
def test_any_two_places_are_the_ends_of_their_walk(first, last):
    walk = walk_between(NET, at(*first), at(*last))
    low, high = stations(walk)
    if high > low:
        assert {where(walk, low), where(walk, high)} == {first, last}
        middle = (low + high) / 2
        found, distance = walk.nearest(NET, tuple(np.array(where(walk, middle)) * b.FT))
        assert found / b.FT == pytest.approx(middle, abs=1e-4) and distance == pytest.approx(0.0, abs=1e-4)
