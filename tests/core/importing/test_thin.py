"""Thinning: ends stay, and nothing left out lies beyond the error."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.importing.thin import keep_in_plan, keep_in_profile
from hypothesis import given
from hypothesis import strategies as st

coordinate = st.integers(-10**6, 10**6).map(lambda value: value / 1000)
places = st.tuples(coordinate, coordinate)
runs = st.lists(st.lists(places, min_size=1, max_size=40), min_size=1, max_size=5)


def flat(lists):
    first = np.concatenate([[0], np.cumsum([len(one) for one in lists])])
    return np.array([place for one in lists for place in one], dtype=float).reshape(-1, 2), first


@given(runs, st.floats(0, 300))
def test_in_plan_nothing_left_out_lies_beyond_the_error(lists, error):
    xy, first = flat(lists)
    kept = keep_in_plan(xy, first, error)
    for begin, end in zip(first[:-1], first[1:]):
        own, points = kept[begin:end], xy[begin:end]
        assert own[0] and own[-1]
        corners = np.flatnonzero(own)
        for a, b in zip(corners[:-1], corners[1:]):
            chord = shapely.LineString(points[[a, b]])
            assert (shapely.distance(chord, shapely.points(points[a : b + 1])) <= error + 1e-9).all()


@given(
    st.lists(st.lists(st.tuples(st.floats(0.01, 5), st.floats(-3, 3)), min_size=1, max_size=40), min_size=1,
             max_size=5),
    st.floats(0, 1),
)
def test_in_profile_every_level_comes_back_within_the_error(lists, error):
    step_and_z, first = flat(lists)
    at = np.concatenate([np.cumsum(step_and_z[a:b, 0]) for a, b in zip(first[:-1], first[1:])])
    z = step_and_z[:, 1]
    kept = keep_in_profile(at, z, first, error)
    for begin, end in zip(first[:-1], first[1:]):
        own = np.flatnonzero(kept[begin:end]) + begin
        assert own[0] == begin
        assert own[-1] == end - 1
        back = np.interp(at[begin:end], at[own], z[own])
        assert (np.abs(back - z[begin:end]) <= error + 1e-9).all()


@given(st.lists(places, min_size=2, max_size=60, unique=True), st.floats(0.1, 100))
def test_it_keeps_about_as_few_as_another_program_does(points, error):
    """GEOS has the same algorithm; ties may be split elsewhere."""
    xy, first = flat([points])
    own = keep_in_plan(xy, first, error).sum()
    other = len(shapely.simplify(shapely.LineString(points), error, preserve_topology=False).coords)
    assert own <= 2 * other + 2


def test_a_straight_log_keeps_its_two_ends():
    along = np.arange(0.0, 1001.0)
    xy = np.column_stack([2e6 + along, 8e5 + 0.01 * np.sin(along)])
    assert keep_in_plan(xy, np.array([0, len(xy)]), 0.02).sum() == 2
    assert keep_in_plan(xy, np.array([0, len(xy)]), 0.001).sum() > 100


def test_a_knick_in_the_grade_is_kept():
    at = np.arange(0.0, 401.0, 2.0)
    z = np.where(at < 200, 100 + 0.001 * at, 100.2 + 0.004 * (at - 200))
    kept = keep_in_profile(at, z, np.array([0, len(at)]), 0.01)
    assert list(at[kept]) == [0, 200, 400]


def test_many_lines_at_once_are_those_thinned_alone():
    rng = np.random.default_rng(1)
    lists = [np.cumsum(rng.normal(size=(n, 2)), axis=0).tolist() for n in rng.integers(1, 200, 50)]
    xy, first = flat(lists)
    together = keep_in_plan(xy, first, 1.5)
    alone = [keep_in_plan(np.array(one), np.array([0, len(one)]), 1.5) for one in lists]
    np.testing.assert_array_equal(together, np.concatenate(alone))


@pytest.mark.parametrize("first", [np.array([0]), np.array([0, 0]), np.array([0, 0, 1, 1])])
def test_empty_lines(first):
    assert keep_in_plan(np.zeros((first[-1], 2)), first, 1.0).sum() == first[-1]
