"""Nearest places of lines and crossings of segments, against the reference library."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.network import nearest
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.network.nearest import nearest_places
from fallkeeper.plugin.network.segments import crossing_places, segment_pairs
from hypothesis import given
from hypothesis import strategies as st

coordinates = st.integers(-40, 40).map(lambda k: k / 4.0)
points = st.tuples(coordinates, coordinates)
drawn = st.lists(points, min_size=2, max_size=6, unique=True)


def lines_of(*drawings):
    return explode(np.array([shapely.LineString(xy) for xy in drawings], dtype=object))[0]


def test_place_inside_a_segment_before_the_line_and_beyond_it():
    lines = lines_of([(0, 0), (30, 40), (30, 100)])
    at_m, away_m = nearest_places(lines, np.zeros(3, dtype=np.int64), np.array([[30, 60], [-3, -4], [34, 103]]))
    assert at_m.tolist() == [70, 0, 110]
    assert away_m.tolist() == [0, 5, 5]


def test_of_places_equally_near_the_first_counts():
    lines = lines_of([(0, 0), (10, 0), (10, 10), (0, 10)])
    at_m, away_m = nearest_places(lines, np.zeros(1, dtype=np.int64), np.array([[5, 5]]))
    assert (at_m[0], away_m[0]) == (5, 5)


@given(st.lists(st.tuples(drawn, points), min_size=1, max_size=8))
def test_as_the_reference_library_says(rows):
    lines = lines_of(*(line for line, _ in rows))
    xy = np.array([point for _, point in rows])
    at_m, away_m = nearest_places(lines, np.arange(len(rows)), xy)
    assert away_m == pytest.approx(shapely.distance(lines.geometry, shapely.points(xy)), abs=1e-12)
    there = shapely.line_interpolate_point(lines.geometry, at_m)
    assert shapely.distance(there, shapely.points(xy)) == pytest.approx(away_m, abs=1e-9)


def test_many_segments_are_worked_on_in_parts(monkeypatch):
    lines = lines_of([(0, 0), (1, 0), (2, 0)], [(0, 0), (0, 1), (0, 2), (0, 3)], [(5, 5), (6, 5)])
    which = np.array([0, 1, 2, 1, 0])
    xy = np.array([[1.5, 1], [1, 2.5], [5.25, 6], [0, 9], [9, 0]])
    whole = nearest_places(lines, which, xy)
    monkeypatch.setattr(nearest, "_SEGMENTS_AT_ONCE", 2)
    assert [a.tolist() for a in nearest_places(lines, which, xy)] == [a.tolist() for a in whole]
    assert whole[0].tolist() == [1.5, 2.5, 0.25, 3, 2]


def test_nothing_asked_gives_nothing():
    at_m, away_m = nearest_places(lines_of([(0, 0), (1, 0)]), np.zeros(0, dtype=np.int64), np.zeros((0, 2)))
    assert len(at_m) == len(away_m) == 0


@given(drawn, drawn)
def test_segments_cross_where_the_reference_library_says(one, other):
    lines = lines_of(one, other)
    every = np.array([0]), np.zeros(1), lines.length_m[:1], np.array([1]), np.zeros(1), lines.length_m[1:]
    _, segment, other_segment = segment_pairs(lines, *every)
    assert len(segment) == (len(one) - 1) * (len(other) - 1)
    meets, xy = crossing_places(lines, segment, other_segment)
    shapes = [shapely.linestrings([lines.xy[s], lines.xy[s + 1]]) for s in range(len(lines.xy) - 1)]
    for k, (a, b) in enumerate(zip(segment, other_segment)):
        common = shapely.intersection(shapes[a], shapes[b])
        aside = _turn(lines, a, b) == 0  # side by side: a stretch or an end in common is no crossing
        if not aside and shapely.distance(shapes[a], shapes[b]) == 0:
            row = np.flatnonzero(meets == k)
            if len(row):
                assert shapely.distance(common, shapely.points(xy[row[0]])) < 1e-9
            else:  # a touch that rounding puts beside the segment
                ends = shapely.points(lines.xy[[a, a + 1, b, b + 1]])
                assert shapely.distance(ends, common).min() < 1e-9
        else:
            assert k not in meets or shapely.distance(shapes[a], shapes[b]) < 1e-9


def _turn(lines, a, b):
    own, other = lines.xy[a + 1] - lines.xy[a], lines.xy[b + 1] - lines.xy[b]
    return own[0] * other[1] - own[1] * other[0]
