"""Drawn geometries as lines: parts, stations, what cannot be used, stretches cut out."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.network.lines import explode
from hypothesis import given
from hypothesis import strategies as st


def lines_of(*geometry):
    return explode(np.array(geometry, dtype=object))


def line_with(number):
    with np.errstate(invalid="ignore"):
        return shapely.linestrings([[0, 0], [number, 5]])


def faults(unusable):
    return [(fault.drain, fault.why, fault.used) for fault in unusable]


def test_a_plain_line_is_taken_as_drawn():
    lines, unusable = lines_of(shapely.LineString([(0, 0), (30, 40), (30, 100)]))
    assert not unusable
    assert lines.length_m.tolist() == [110]
    assert lines.along_m.tolist() == [0, 50, 110]
    assert np.isnan(lines.z).all()


def test_parts_follow_one_another_and_keep_their_drain():
    parts = shapely.MultiLineString([[(0, 0), (10, 0)], [(15, 0), (15, 20)], [(40, 0), (45, 0)]])
    lines, unusable = lines_of(shapely.LineString([(0, 9), (1, 9)]), parts)
    assert lines.drain.tolist() == [0, 1, 1, 1]
    assert lines.length_m.tolist() == [1, 10, 20, 5]
    assert lines.station0_m.tolist() == [0, 0, 10, 30], "the gaps between parts have no length"
    assert lines.station_m(np.array([2, 3]), np.array([4.0, 5.0])).tolist() == [14, 35]
    assert faults(unusable) == [(1, "it is drawn in several parts, which are taken one after another", True)]


def test_a_multi_line_of_one_part_is_a_line_like_any_other():
    lines, unusable = lines_of(shapely.MultiLineString([[(0, 0), (10, 0)]]))
    assert len(lines) == 1
    assert not unusable


def test_repeated_vertices_are_dropped_and_nothing_else():
    drawn = shapely.LineString([(0, 0), (0, 0), (5, 0), (5, 0), (5, 0), (9, 0), (9, 0)])
    lines, unusable = lines_of(drawn)
    assert lines.xy.tolist() == [[0, 0], [5, 0], [9, 0]]
    assert not unusable
    assert shapely.get_num_coordinates(drawn) == 7, "the drawing itself is not changed"


@pytest.mark.parametrize(
    ("geometry", "why"),
    [
        (None, "it has no geometry"),
        (shapely.LineString(), "it has no geometry"),
        (shapely.MultiLineString(), "it has no geometry"),
        (shapely.Point(1, 1), "it is not a line"),
        (shapely.box(0, 0, 1, 1), "it is not a line"),
        (shapely.LineString([(3, 3), (3, 3)]), "it has no length"),
        (line_with(np.nan), "a coordinate is no number"),
        (line_with(np.inf), "a coordinate is no number"),
    ],
)
def test_what_cannot_be_used_is_left_out_and_listed(geometry, why):
    good = shapely.LineString([(0, 0), (10, 0)])
    lines, unusable = lines_of(good, geometry, good)
    assert lines.drain.tolist() == [0, 2]
    assert faults(unusable) == [(1, why, False)]


def test_of_a_drain_with_one_bad_part_the_other_parts_are_used():
    part = [(0, 0), (10, 0)]
    dot = [(10, 0), (10, 0)]
    broken = shapely.multilinestrings([line_with(np.nan), shapely.linestrings(part)])
    lines, unusable = lines_of(shapely.MultiLineString([part, dot]), broken)
    assert lines.drain.tolist() == [0, 1]
    assert lines.length_m.tolist() == [10, 10]
    said = [(drain, why) for drain, why, used in faults(unusable) if not why.startswith("it is drawn in several")]
    assert said == [
        (1, "a part of it is left out: a coordinate is no number"), (0, "a part of it is left out: it has no length"),
    ]
    assert all(fault.used for fault in unusable), "the rest of the drain is used"


def test_nothing_at_all():
    for geometry in ([], [None], [shapely.Point(0, 0)]):
        lines, _ = explode(np.array(geometry, dtype=object))
        assert len(lines) == 0
        assert len(lines.cut(np.zeros(0, dtype=int), np.zeros(0), np.zeros(0))) == 0


def test_drawn_elevations_of_nought_and_nan_are_unknown():
    drawn = shapely.linestrings([[0, 0, 95.5], [10, 0, 0.0], [20, 0, np.nan], [30, 0, -2.0]])
    lines, _ = lines_of(drawn)
    assert lines.z.tolist()[0::3] == [95.5, -2.0]
    assert np.isnan(lines.z[1:3]).all()


def test_a_first_vertex_without_elevation_does_not_hide_the_others():
    lines, _ = lines_of(shapely.linestrings([[0, 0, np.nan], [10, 0, 95.5]]))
    assert np.isnan(lines.z[0])
    assert lines.z[1] == 95.5


BENT = shapely.LineString([(0, 0), (10, 0), (10, 10), (30, 10)])


@pytest.mark.parametrize(
    ("from_m", "to_m", "expected"),
    [
        (0, 40, [(0, 0), (10, 0), (10, 10), (30, 10)]),
        (5, 25, [(5, 0), (10, 0), (10, 10), (15, 10)]),
        (2, 7, [(2, 0), (7, 0)]),
        (10, 20, [(10, 0), (10, 10)]),
        (0, 10, [(0, 0), (10, 0)]),
        (20, 40, [(10, 10), (30, 10)]),
        (12, 20, [(10, 2), (10, 10)]),
    ],
)
def test_a_stretch_keeps_the_vertices_inside_it_and_repeats_none(from_m, to_m, expected):
    lines, _ = lines_of(shapely.LineString([(-9, -9), (-9, 9)]), BENT, shapely.LineString([(50, 50), (60, 50)]))
    (cut,) = lines.cut(np.array([1]), np.array([from_m]), np.array([to_m]))
    assert list(cut.coords) == expected


def test_places_beyond_an_end_are_the_end():
    lines, _ = lines_of(BENT, BENT)
    assert lines.points_at(np.array([0, 1]), np.array([-5.0, 99.0])).tolist() == [[0, 0], [30, 10]]


wiggles = st.lists(
    st.lists(st.tuples(st.integers(-50, 50), st.integers(-50, 50)), min_size=2, max_size=6), min_size=1, max_size=5
)


@given(wiggles, st.data())
def test_places_and_stretches_agree_with_geos(drawn, data):
    lines, _ = explode(np.array([shapely.LineString(points) for points in drawn], dtype=object))
    if not len(lines):
        return
    line = data.draw(st.integers(0, len(lines) - 1))
    low, high = sorted(data.draw(st.tuples(*[st.floats(0, 1)] * 2)))
    from_m, to_m = low * lines.length_m[line], high * lines.length_m[line]
    here = lines.points_at(np.array([line]), np.array([from_m]))[0]
    there = shapely.get_coordinates(shapely.line_interpolate_point(lines.geometry[line], from_m))[0]
    assert np.allclose(here, there, atol=1e-6)
    if to_m - from_m > 1e-3:
        (cut,) = lines.cut(np.array([line]), np.array([from_m]), np.array([to_m]))
        assert shapely.length(cut) == pytest.approx(to_m - from_m, abs=1e-6)


def test_the_sum_of_all_lengths_does_not_blur_a_place_on_the_last_line():
    """Places are looked up in one running distance over all lines, which in a county is 55,000 km long."""
    far = shapely.LineString([(0, 0), (0, 5e7)])
    lines, _ = lines_of(far, BENT)
    assert np.allclose(lines.points_at(np.array([1]), np.array([10.0])), [[10, 0]], atol=1e-6)
