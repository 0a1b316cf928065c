"""Sampling the ground along many lines."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.elevation import ground as ground_module
from fallkeeper.plugin.elevation import legs as legs_module
from fallkeeper.plugin.elevation.ground import GroundProfile, sample_lines
from fallkeeper.plugin.elevation.legs import legs_along
from fallkeeper.plugin.network.lines import explode
from hypothesis import given
from hypothesis import strategies as st


def lines_of(*wkt):
    return explode(shapely.from_wkt(list(wkt)))[0]


def plane(x_m, y_m):
    return 3.0 * x_m + 5.0 * y_m


LINES = (
    "LINESTRING (0 0, 12 0)",
    "LINESTRING (0 10, 0 13, 4 13)",
    "LINESTRING (0 50, 2 50)",
    "LINESTRING (0 20, 10 20)",
)


def test_stations_at_both_ends_and_evenly_between():
    profile = sample_lines(lines_of(*LINES), plane, 5.0, np.array([True, True, True, False]))
    assert profile.first.tolist() == [0, 4, 7, 9, 9]
    assert profile.places_m() == pytest.approx([0, 4, 8, 12, 0, 3.5, 7, 0, 2])
    assert profile.heights_m() == pytest.approx([0, 12, 24, 36, 50, 66.5, 77, 250, 256])
    assert profile.places_m(1, 3) == pytest.approx([0, 3.5, 7, 0, 2])
    assert profile.heights_m(1, 3) == pytest.approx([50, 66.5, 77, 250, 256])


def test_a_length_of_whole_steps_gets_no_extra_station():
    profile = sample_lines(lines_of("LINESTRING (0 0, 0.3 0)"), plane, 0.1, np.array([True]))
    assert profile.places_m() == pytest.approx([0.0, 0.1, 0.2, 0.3])


def test_chunks_give_what_one_pass_gives_and_report_progress(monkeypatch):
    lines = lines_of(*LINES)
    whole = sample_lines(lines, plane, 1.0, np.ones(4, dtype=bool))
    asked, shares = [], []

    def counting(x_m, y_m):
        asked.append(len(x_m))
        return plane(x_m, y_m)

    monkeypatch.setattr(ground_module, "_POINTS_AT_ONCE", 12)
    monkeypatch.setattr(legs_module, "_LINES_AT_ONCE", 1)
    parts = sample_lines(lines, counting, 1.0, np.ones(4, dtype=bool), shares.append)
    assert parts.heights_m().tolist() == whole.heights_m().tolist()
    assert len(asked) > 1 and sum(asked) == len(whole)
    assert shares == sorted(shares) and shares[-1] == 1.0


def test_ground_between_samples_and_beside_a_missing_one():
    lines = lines_of("LINESTRING (0 0, 20 0)")
    profile = sample_lines(lines, lambda x, y: np.where(x == 10, np.nan, x), 5.0, np.ones(1, bool))
    at = profile.at(np.zeros(6, int), np.array([0.0, 2.5, 5.0, 7.0, 10.0, 20.0]))
    assert at[[0, 1, 2, 5]] == pytest.approx([0.0, 2.5, 5.0, 20.0])
    assert np.isnan(at[[3, 4]]).all()
    assert profile.missing_count == 1


def test_beyond_a_line_and_on_one_without_samples_there_is_no_ground():
    profile = sample_lines(lines_of(*LINES), plane, 5.0, np.array([True, True, True, False]))
    at = profile.at(np.array([0, 0, 0, 3, 3]), np.array([-0.1, 12.0, 12.1, 0.0, 5.0]))
    assert np.isfinite(at).tolist() == [False, True, False, False, False]


def test_no_line_to_sample():
    profile = sample_lines(lines_of(*LINES), plane, 5.0, np.zeros(4, dtype=bool))
    assert not len(profile) and profile.first.tolist() == [0, 0, 0, 0, 0]
    nothing = sample_lines(lines_of(), plane, 5.0, np.zeros(0, dtype=bool))
    assert nothing.first.tolist() == [0]


def test_a_line_without_any_ground_is_missing_as_a_whole():
    profile = sample_lines(lines_of(*LINES), lambda x, y: np.where(y > 15, np.nan, x), 5.0, np.ones(4, dtype=bool))
    assert np.isnan(profile.heights_m(2, 4)).all() and profile.missing_count == len(profile.heights_m(2, 4)) == 5


@pytest.mark.parametrize("altitude_m", [0.0, 300.0, 4000.0])
def test_heights_kept_in_single_precision_are_right_to_a_millionth_of_a_metre(altitude_m):
    """A field that falls 10 m over 600 m, wherever it lies; kept as they are, 4,000 m would be off by 0.1 mm."""
    def field(x_m, y_m):
        return altitude_m + x_m / 60.0 + 0.001 * np.sin(x_m)

    lines = lines_of("LINESTRING (0 0, 600 0)", "LINESTRING (600 9, 0 9)")
    profile = sample_lines(lines, field, 1.0, np.ones(2, dtype=bool))
    x_m = np.concatenate([profile.places_m(0, 1), 600.0 - profile.places_m(1, 2)])
    assert profile.heights_m() == pytest.approx(field(x_m, 0.0), abs=1e-6, rel=0)


@st.composite
def drawn_lines(draw):
    """Lines of some vertices, none twice in a row."""
    shapes = []
    for _ in range(draw(st.integers(1, 4))):
        steps = draw(st.lists(st.tuples(st.integers(-30, 30), st.integers(1, 30)), min_size=1, max_size=5))
        shapes.append(shapely.LineString(np.cumsum([(0, 0), *steps], axis=0) * 0.37))
    return explode(np.array(shapes, dtype=object))[0]


@given(drawn_lines(), st.floats(0.3, 40.0))
def test_places_lie_where_the_line_has_them(lines, step_m):
    """Worked out leg by leg; told by the lines themselves place by place."""
    intervals = np.maximum(np.ceil(lines.length_m / step_m), 1).astype(np.int64)
    intervals[1:2] = 0  # a line that is not sampled
    count = np.where(intervals > 0, intervals + 1, 0)
    first = np.concatenate([[0], np.cumsum(count)])
    legs = legs_along(lines, intervals, first)
    assert sorted(legs.samples().tolist()) == list(range(first[-1]))
    profile = replace(GroundProfile.nowhere(lines.length_m), first=first)
    line = np.repeat(np.arange(len(lines)), count)
    expected = lines.points_at(line, profile.places_m())
    assert np.column_stack(legs.places()) == pytest.approx(expected[legs.samples()], abs=1e-9)
    assert (legs.line == line[legs.sample]).all()


@given(drawn_lines(), st.data())
def test_ground_at_a_place_is_that_of_the_samples_around_it(lines, data):
    def ground(x_m, y_m):
        return 200.0 + np.sin(x_m) + np.where(y_m % 7 < 1, np.nan, 0.01 * y_m)

    profile = sample_lines(lines, ground, 2.0, np.ones(len(lines), dtype=bool))
    line = data.draw(st.integers(0, len(lines) - 1))
    places, heights = profile.places_m(line, line + 1), profile.heights_m(line, line + 1)
    share = data.draw(st.floats(0.0, 1.0))
    at_m = share * lines.length_m[line]
    on = np.flatnonzero(np.abs(places - at_m) < 1e-9)
    expected = heights[on[0]] if len(on) else np.interp(at_m, places, heights)
    assert profile.at(np.array([line]), np.array([at_m])) == pytest.approx([expected], nan_ok=True)
    assert profile.at(np.full(len(places), line), places) == pytest.approx(heights, nan_ok=True)


def test_a_line_sampled_at_places_of_its_own_comes_last():
    lines = lines_of(*LINES)
    profile = sample_lines(lines, plane, 5.0, np.ones(4, dtype=bool))
    at_m = np.array([0.0, 1.0, 7.0, 10.0])
    more = profile.with_line(10.0, at_m, np.array([50.0, 60.0, np.nan, 80.0]))
    assert more.places_m(4, 5).tolist() == at_m.tolist()
    assert more.heights_m(4, 5) == pytest.approx([50, 60, np.nan, 80], nan_ok=True)
    assert more.at(np.full(4, 4), np.array([0.5, 1.0, 3.0, 10.0])) == pytest.approx([55, 60, np.nan, 80], nan_ok=True)
    assert more.heights_m(0, 4).tolist() == profile.heights_m().tolist()
    bare = profile.with_line(10.0, np.zeros(0), np.zeros(0))
    assert bare.first.tolist() == [*profile.first.tolist(), len(profile)] and not bare.uneven_m


def test_lines_that_changed_are_sampled_and_the_others_carried_over():
    """The profile is, bit for bit, the one of sampling everything again."""
    before = sample_lines(lines_of(*LINES), plane, 5.0, np.ones(4, dtype=bool))
    changed = lines_of(LINES[3], "LINESTRING (7 7, 9 30)", LINES[0], LINES[1])  # one new, one gone, another order
    touched = np.array([False, True, False, False])
    fresh = sample_lines(changed, plane, 5.0, touched)
    carried = before.carried(np.array([3, -1, 0, 1]), fresh)
    again = sample_lines(changed, plane, 5.0, np.ones(4, dtype=bool))
    for column in ("first", "length_m", "base_m", "above_base_m"):
        assert getattr(carried, column).tolist() == getattr(again, column).tolist(), column


def test_a_line_at_places_of_its_own_is_carried_over_too():
    lines = lines_of(*LINES)
    at_m, z_m = np.array([0.0, 1.0, 10.0]), np.array([50.0, 60.0, 80.0])
    before = GroundProfile.nowhere(lines.length_m[:3]).with_line(10.0, at_m, z_m)
    fresh = sample_lines(lines, plane, 5.0, np.array([True, False, False, False]))
    carried = before.carried(np.array([-1, 3, 2, 1]), fresh)
    assert carried.heights_m() == pytest.approx([0, 12, 24, 36, 50, 60, 80])
    assert carried.places_m() == pytest.approx([0, 4, 8, 12, 0, 1, 10])
    nothing = GroundProfile.nowhere(np.zeros(0)).carried(np.full(4, -1), fresh)
    assert nothing.heights_m().tolist() == fresh.heights_m().tolist()
