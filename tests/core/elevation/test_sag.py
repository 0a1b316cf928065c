"""Water left standing inside a pipe."""

import builders as b
import numpy as np
import pytest
from builders import FT
from fallkeeper.plugin.elevation.points import collect_points
from fallkeeper.plugin.elevation.ranges import Ranges
from fallkeeper.plugin.elevation.sag import pools
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.tables import Shots
from hypothesis import given
from hypothesis import strategies as st

AGAINST, WITH = -1, 1


def pipes(*profiles, step=100.0, unit_m=FT):
    """Pipes one beside the other with an invert (None: unknown) every `step`, drawn in the order given."""
    rows = [
        b.main(f"P{i}", *((step * k, 10.0 * i, z or 0.0) for k, z in enumerate(profile)), located_by="level")
        for i, profile in enumerate(profiles)
    ]
    drains = b.drains(*rows, unit_m=unit_m)
    lines, _ = explode(drains.geometry)
    return lines, collect_points(lines, drains, Shots.none(), Limits(), 0.3)


def whole(lines):
    return Ranges(np.arange(len(lines)), np.zeros(len(lines)), lines.length_m)


def table(found, unit_m=FT):
    columns = (found.from_m, found.to_m, found.depth_m, found.at_m, found.level_m)
    return [(int(line), *(round(float(v) / unit_m, 3) for v in row)) for line, *row in zip(found.line, *columns)]


def test_pool_behind_a_hidden_reverse():
    """A06: pool up to 95.25, deepest 0.050 at sta 300, from sta 200 to 333.3."""
    lines, points = pipes([95.00, 95.10, 95.25, 95.20, 95.35])
    found = pools(lines, points, whole(lines), np.array([AGAINST]))
    assert table(found) == [(0, 200.0, 333.333, 0.05, 300.0, 95.25)]


def test_pool_beyond_a_hump():
    """A11: 100.20, 100.60, 100.40, 100.70 every 50 ft: a pool to 100.60 from sta 50 to 133.3, 0.20 deep."""
    lines, points = pipes([100.20, 100.60, 100.40, 100.70], step=50.0)
    found = pools(lines, points, whole(lines), np.array([AGAINST]))
    assert table(found) == [(0, 50.0, 133.333, 0.2, 100.0, 100.6)]


def test_drawn_the_other_way_it_is_the_same_pool():
    lines, points = pipes([95.35, 95.20, 95.25, 95.10, 95.00])
    found = pools(lines, points, whole(lines), np.array([WITH]))
    assert table(found) == [(0, 66.667, 200.0, 0.05, 100.0, 95.25)]


def test_a_pipe_that_falls_holds_none_and_an_unknown_direction_is_not_judged():
    lines, points = pipes([95.0, 95.1, 95.2], [95.0, 95.1, 95.0], [95.0, None, None])
    assert not len(pools(lines, points, whole(lines), np.array([AGAINST, 0, AGAINST])))


def test_water_that_reaches_the_upper_end_stops_there():
    lines, points = pipes([95.0, 95.2, 95.1, 95.15])
    found = pools(lines, points, whole(lines), np.array([AGAINST]))
    assert table(found) == [(0, 100.0, 300.0, 0.1, 200.0, 95.2)]


def test_several_pools_in_several_pipes():
    lines, points = pipes([95.0, 95.2, 95.1, 95.3, 95.2, 95.1, 95.5], [95.5, 95.4, 95.6, 95.5])
    found = pools(lines, points, whole(lines), np.array([AGAINST, WITH]))
    assert table(found) == [
        (0, 100.0, 250.0, 0.1, 200.0, 95.2),
        (0, 300.0, 550.0, 0.2, 500.0, 95.3),
        (1, 0.0, 200.0, 0.2, 100.0, 95.6),
    ]


def test_a_pipe_that_drains_both_ways_from_its_high_point_is_judged_by_stretch():
    lines, points = pipes([95.0, 95.1, 95.05, 95.3, 95.0, 95.1, 95.0])
    stretches = Ranges(np.array([0, 0]), np.array([0.0, 300.0]) * FT, np.array([300.0, 600.0]) * FT)
    found = pools(lines, points, stretches, np.array([AGAINST, WITH]))
    assert table(found) == [(0, 100.0, 220.0, 0.05, 200.0, 95.1), (0, 366.667, 500.0, 0.1, 400.0, 95.1)]


def test_a_stretch_that_begins_between_measured_points_starts_from_the_straight_line():
    lines, points = pipes([95.0, 95.2, 95.0])
    stretch = Ranges(np.array([0]), np.array([50.0]) * FT, np.array([150.0]) * FT)
    found = pools(lines, points, stretch, np.array([AGAINST]))
    assert table(found) == [(0, 100.0, 150.0, 0.1, 150.0, 95.2)]


def test_the_error_of_the_depth_is_that_of_sill_and_low_point():
    lines, points = pipes([95.00, 95.10, 95.25, 95.20, 95.35])
    found = pools(lines, points, whole(lines), np.array([AGAINST]))
    assert found.sigma_m == pytest.approx([0.005 * np.sqrt(2)])


@given(st.lists(st.lists(st.integers(1, 9), min_size=2, max_size=9), min_size=1, max_size=4))
def test_depths_agree_with_walking_up_each_pipe(profiles):
    lines, points = pipes(*profiles, unit_m=1.0)
    found = pools(lines, points, whole(lines), np.full(len(lines), AGAINST))
    expected = []
    for i, profile in enumerate(profiles):
        depth = np.maximum.accumulate(profile) - np.array(profile)
        wet = np.append(depth > 0, False)
        for k in np.flatnonzero(wet[1:] & ~wet[:-1]) + 1:
            expected.append((i, float(depth[k : k + np.argmin(wet[k:])].max())))
    assert [(int(line), round(float(depth), 6)) for line, depth in zip(found.line, found.depth_m)] == expected
