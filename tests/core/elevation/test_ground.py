"""Sampling the ground along many lines."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.elevation import ground as ground_module
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.network.lines import explode


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
    assert profile.at_m == pytest.approx([0, 4, 8, 12, 0, 3.5, 7, 0, 2])
    assert profile.z_m == pytest.approx([0, 12, 24, 36, 50, 66.5, 77, 250, 256])
    assert profile.line_of(0, 4).tolist() == [0, 0, 0, 0, 1, 1, 1, 2, 2]


def test_a_length_of_whole_steps_gets_no_extra_station():
    profile = sample_lines(lines_of("LINESTRING (0 0, 0.3 0)"), plane, 0.1, np.array([True]))
    assert profile.at_m == pytest.approx([0.0, 0.1, 0.2, 0.3])


def test_chunks_give_what_one_pass_gives_and_report_progress(monkeypatch):
    lines = lines_of(*LINES)
    whole = sample_lines(lines, plane, 1.0, np.ones(4, dtype=bool))
    asked, shares = [], []

    def counting(x_m, y_m, progress):
        asked.append(y_m.max())
        progress(1.0)
        return plane(x_m, y_m)

    monkeypatch.setattr(ground_module, "_SAMPLES_AT_ONCE", 12)
    monkeypatch.setattr(ground_module, "_POINTS_AT_ONCE", 3)
    parts = sample_lines(lines, counting, 1.0, np.ones(4, dtype=bool), shares.append)
    assert parts.z_m.tolist() == whole.z_m.tolist() and parts.at_m.tolist() == whole.at_m.tolist()
    assert asked == sorted(asked, reverse=True) and len(asked) > 1
    assert shares == sorted(shares) and shares[-1] == 1.0


def test_ground_between_samples_and_beside_a_missing_one():
    lines = lines_of("LINESTRING (0 0, 20 0)")
    profile = sample_lines(lines, lambda x, y: np.where(x == 10, np.nan, x), 5.0, np.ones(1, bool))
    at = profile.at(lines, np.zeros(6, int), np.array([0.0, 2.5, 5.0, 7.0, 10.0, 20.0]))
    assert at[[0, 1, 2, 5]] == pytest.approx([0.0, 2.5, 5.0, 20.0])
    assert np.isnan(at[[3, 4]]).all()
    assert profile.missing_count == 1


def test_no_line_to_sample():
    profile = sample_lines(lines_of(*LINES), plane, 5.0, np.zeros(4, dtype=bool))
    assert not len(profile) and profile.first.tolist() == [0, 0, 0, 0, 0]
    nothing = sample_lines(lines_of(), plane, 5.0, np.zeros(0, dtype=bool))
    assert nothing.first.tolist() == [0]
