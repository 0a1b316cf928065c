"""Points in order become the lines they were logged along; every point is used or told."""

import numpy as np
import pytest
from fallkeeper.plugin.importing.log_lines import Gaps, Log, build_runs
from fallkeeper.plugin.limits import Limits
from hypothesis import given
from hypothesis import strategies as st

LIMITS = Limits()


def log(xy, line=None, part=None, passes=None, order=None, time=None):
    count = len(xy)

    def words(given):
        return np.array([None if w is None else str(w) for w in (given if given is not None else [None] * count)],
                        dtype=object)

    def figures(given):
        return np.full(count, np.nan) if given is None else np.array(given, dtype=float)

    return Log(np.array(xy, dtype=float).reshape(-1, 2), words(line), words(part), words(passes), figures(order),
               figures(time))


def runs(made, gaps=None):
    return build_runs(made, gaps or Gaps(), LIMITS)


def points(found):
    """Log indices of every run."""
    return [found.point[a:b].tolist() for a, b in zip(found.first[:-1], found.first[1:])]


def straight(y=0.0, count=50, step=1.0, x0=0.0):
    return [(x0 + step * k, y) for k in range(count)]


def test_two_named_lines():
    found = runs(log(straight(0) + straight(15), line=["A"] * 50 + ["B"] * 50))
    assert points(found) == [list(range(50)), list(range(50, 100))]
    assert list(found.line) == ["A", "B"]
    assert list(found.later) == [-1, -1]


def test_without_names_a_gap_ends_a_line():
    xy = straight(0) + straight(15)[::-1] + straight(30)
    found = runs(log(xy))
    assert points(found) == [list(range(50)), list(range(50, 100)), list(range(100, 150))]
    assert found.gap_m[0] == 5.0, "five steps of 1 m"


def test_the_gap_that_is_given_counts():
    xy = straight(0) + straight(0, x0=57)
    assert len(runs(log(xy))) == 2
    assert len(runs(log(xy), Gaps(distance_m=10))) == 1
    assert len(runs(log(xy), Gaps(distance_m=7))) == 2


def test_lines_that_are_logged_in_turns():
    xy = [place for pair in zip(straight(0), straight(15)) for place in pair]
    found = runs(log(xy, line=["A", "B"] * 50))
    assert points(found) == [list(range(0, 100, 2)), list(range(1, 100, 2))]


def test_the_logs_own_order_comes_before_the_files():
    rng = np.random.default_rng(3)
    shuffled = rng.permutation(50)
    xy = np.array(straight(0))[shuffled]
    assert points(runs(log(xy, order=shuffled))) == [np.argsort(shuffled).tolist()]
    assert points(runs(log(xy, time=shuffled * 2.0))) == [np.argsort(shuffled).tolist()]


def test_a_pause_alone_ends_no_line_but_a_pause_with_a_move_does():
    xy = straight(0, 20)
    paused = [float(k) for k in range(10)] + [3600.0 + k for k in range(10)]
    assert len(runs(log(xy, time=paused))) == 1
    moved = xy[:10] + [(x + 2.5, y) for x, y in xy[10:]]
    assert points(runs(log(moved, time=paused))) == [list(range(10)), list(range(10, 20))]
    assert len(runs(log(moved, time=paused), Gaps(time_s=4000))) == 1


def test_repeated_points_are_told_and_left_out():
    xy = straight(0, 5) + [(4.0, 0.0)] * 3 + straight(0, 5, x0=5)
    found = runs(log(xy))
    assert list(found.repeated) == [5, 6, 7]
    assert points(found) == [[0, 1, 2, 3, 4, 8, 9, 10, 11, 12]]


def test_a_jump_there_and_back_is_left_out():
    xy = straight(0, 20)
    xy[7] = (7.0, 400.0)
    found = runs(log(xy))
    assert list(found.jumped) == [7]
    assert points(found) == [[k for k in range(20) if k != 7]]


def test_points_without_a_place_and_single_points_are_told():
    xy = [*straight(0, 10), (np.nan, 3.0), (500.0, 500.0), *straight(80, 10)]
    found = runs(log(xy))
    assert (list(found.no_place), list(found.alone)) == ([10], [11])
    assert len(found) == 2


def test_the_same_way_gone_over_twice():
    there = straight(0, 30)
    again = [(x, y + 0.3) for x, y in there]
    found = runs(log(there + again, line=["A"] * 60, passes=["1"] * 30 + ["2"] * 30))
    assert list(found.later) == [-1, 0], "the earlier pass stands last"
    assert points(found) == [list(range(30, 60)), list(range(30))]
    unnamed = runs(log(there + again))
    assert list(unnamed.later) == [-1, 0], "the machine drove back 29 m, which is a gap"
    named = runs(log(there + again, line=["A"] * 30 + ["B"] * 30))
    assert list(named.later) == [-1, -1], "two lines of their own may share a trench"


def test_two_stretches_of_one_line_are_no_passes():
    found = runs(log(straight(0, 20) + straight(0, 20, x0=60), line=["A"] * 40))
    assert list(found.line) == ["A", "A"]
    assert list(found.later) == [-1, -1]


def test_lines_that_only_cross_are_no_passes():
    found = runs(log(straight(0, 20) + [(10.0, k - 9.5) for k in range(20)]))
    assert list(found.later) == [-1, -1]


@pytest.mark.parametrize("xy", [[], [(0.0, 0.0)], [(0.0, 0.0)] * 4, [(np.nan, np.nan)] * 2])
def test_a_log_without_a_line(xy):
    found = runs(log(xy))
    assert len(found) == 0
    assert len(found.no_place) + len(found.repeated) + len(found.alone) == len(xy)


coordinate = st.integers(0, 400).map(lambda value: value / 4)
rows = st.tuples(coordinate, coordinate, st.sampled_from([None, "A", "B"]), st.integers(0, 500))


@given(st.lists(rows, max_size=60))
def test_every_point_is_in_one_line_or_told_once(given_rows):
    made = log([r[:2] for r in given_rows], line=[r[2] for r in given_rows], time=[r[3] for r in given_rows])
    found = runs(made)
    told = np.concatenate([found.point, found.no_place, found.repeated, found.jumped, found.alone])
    assert sorted(told.tolist()) == list(range(len(given_rows)))
    for own, line, gap in zip(points(found), found.line, found.gap_m):
        assert len(own) >= 2
        assert {made.line[k] for k in own} == {line}
        assert (np.diff(made.time_s[own]) >= 0).all()
        assert (np.hypot(*np.diff(made.xy_m[own], axis=0).T) <= gap).all()


@given(st.integers(1, 6), st.integers(4, 40), st.floats(0.5, 2.5), st.randoms(use_true_random=False))
def test_parallel_laterals_come_back_whatever_the_order_of_the_rows(count, size, step, random):
    rows = [(k * step, 15.0 * j, f"L{j}", k) for j in range(count) for k in range(size)]
    random.shuffle(rows)
    found = runs(log([r[:2] for r in rows], line=[r[2] for r in rows], order=[r[3] for r in rows]))
    assert sorted(found.line) == [f"L{j}" for j in range(count)]
    assert all([rows[k][3] for k in own] == list(range(size)) for own in points(found))
