"""Cover and depth along pipes."""

import builders as b
import numpy as np
import pytest
from builders import FT
from fallkeeper.plugin.elevation.cover import judge_cover
from fallkeeper.plugin.elevation.evidence import Evidence
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.elevation.points import collect_points
from fallkeeper.plugin.elevation.sources import Source
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.tables import Shots
from hypothesis import given
from hypothesis import strategies as st

LIMITS = Limits()


def evidence_of(*rows, ground_ft=None, step_ft=17.0):
    """Pipes in ft under a ground given as a function of x and y in ft."""
    drains = b.drains(*rows)
    lines, _ = explode(drains.geometry)
    points = collect_points(lines, drains, Shots.none(), LIMITS, 0.3)

    def ground(x_m, y_m):
        return ground_ft(x_m / FT, y_m / FT) * FT

    every = np.ones(len(lines), dtype=bool)
    return Evidence(
        lines, drains, points, sample_lines(lines, ground, step_ft * FT, every) if ground_ft else None, LIMITS
    )


def judge(evidence, least_cover_ft=2.0, greatest_depth_ft=5.2):
    every = np.ones(len(evidence.lines), dtype=bool)
    return judge_cover(evidence, every, least_cover_ft * FT, greatest_depth_ft * FT)


def table(found):
    columns = (found.from_m, found.to_m, found.worst_m, found.at_m)
    return [(int(line), *(round(float(v) / FT, 3) for v in row)) for line, *row in zip(found.line, *columns)]


def ranges(found):
    return [
        (int(line), round(float(a) / FT, 3), round(float(z) / FT, 3))
        for line, a, z in zip(found.line, found.from_m, found.to_m)
    ]


def sloping(x, y):
    return 99.00 - 0.002 * x


def pipe_of_a08(**fields):
    inverts = {"invert_start": 96.00, "invert_end": 96.50, "located_by": "level", **fields}
    return b.lateral("L", (0, 0), (200, 0), diameter=4, **inverts)


def test_cover_under_its_limit_from_the_very_station_where_it_is_crossed():
    """A08: cover 2.667 to 1.767 ft; 2.0 is broken from sta 148.1 to 200 and only there."""
    judged = judge(evidence_of(pipe_of_a08(), ground_ft=sloping))
    assert table(judged.shallow) == [(0, 148.148, 200.0, 1.767, 200.0)]
    assert not len(judged.deep) and not len(judged.unknown)
    assert judged.shallow.sigma_m == pytest.approx([np.hypot(0.10, 0.005)])
    assert judged.shallow.source.tolist() == [Source.SURVEYED]


def test_enough_cover_is_no_finding_and_exactly_enough_neither():
    assert not len(judge(evidence_of(pipe_of_a08(), ground_ft=sloping), least_cover_ft=1.7).shallow)
    flat = evidence_of(pipe_of_a08(invert_end=96.0), ground_ft=lambda x, y: np.full(len(x), 96.0 + 2.0 + 4 / 12))
    assert not len(judge(flat).shallow)


def test_too_deep_under_a_rise_of_the_ground():
    """Ground 100 with a ridge 2 ft high at sta 100: the invert at 96 is deeper than 5.2 ft over 80 ft."""
    def ridge(x, y):
        return 100.0 + np.maximum(2.0 - np.abs(x - 100.0) / 50.0, 0.0)

    judged = judge(evidence_of(pipe_of_a08(invert_end=96.0), ground_ft=ridge, step_ft=10.0))
    assert table(judged.deep) == [(0, 60.0, 140.0, 6.0, 100.0)]


def test_two_low_places_are_two_stretches():
    def low_places(x, y):
        return 99.0 - 2.0 * ((np.abs(x - 50) < 15) | (np.abs(x - 150) < 15))

    judged = judge(evidence_of(pipe_of_a08(invert_end=96.0), ground_ft=low_places, step_ft=10.0))
    assert table(judged.shallow) == [(0, 33.333, 66.667, 0.667, 40.0), (0, 133.333, 166.667, 0.667, 140.0)]


@pytest.mark.parametrize(("above_ft", "stretches"), [(0.3, [(20.0, 180.0)]), (0.4, [(20.0, 90.0), (110.0, 180.0)])])
def test_a_ground_that_wavers_about_the_limit_within_its_error_makes_one_stretch(above_ft, stretches):
    """Cover 1.5 ft with a rise in the middle to so much above the limit; lidar errs by 0.10 m = 0.33 ft."""
    def wavering(x, y):
        covers_ft = [2.5, 1.5, 1.5, 2, 2 + above_ft, 2, 1.5, 1.5, 2.5]
        return 96.0 + 4 / 12 + np.interp(x, [0, 40, 60, 90, 100, 110, 140, 160, 200], covers_ft)

    judged = judge(evidence_of(pipe_of_a08(invert_end=96.0), ground_ft=wavering, step_ft=10.0))
    assert [pair[1:] for pair in ranges(judged.shallow)] == [pytest.approx(pair, abs=0.01) for pair in stretches]


def test_a_stated_depth_is_judged_without_ground():
    rows = [
        b.lateral("a", (0, 0), (100, 0), diameter=4, depth_start=2.0, depth_end=3.0),
        b.lateral("b", (0, 9), (100, 9), diameter=4),
    ]
    judged = judge(evidence_of(*rows))
    assert table(judged.shallow) == [(0, 0.0, 33.333, 1.667, 0.0)]
    assert judged.shallow.source.tolist() == [Source.STATED_DEPTH]
    assert ranges(judged.unknown) == [(1, 0.0, 100.0)]


def test_a_usual_depth_is_no_knowledge():
    judged = judge(evidence_of(b.lateral("b", (0, 9), (100, 9), diameter=4), ground_ft=sloping))
    assert not len(judged.shallow)
    assert ranges(judged.unknown) == [(0, 0.0, 100.0)]


def test_missing_ground_is_unknown_and_never_zero():
    def holed(x, y):
        return np.where((x > 79) & (x < 121), np.nan, 99.0)

    judged = judge(evidence_of(pipe_of_a08(invert_end=96.0), ground_ft=holed, step_ft=10.0))
    assert not len(judged.shallow) and not len(judged.deep)
    assert ranges(judged.unknown) == [(0, 70.0, 130.0)]


def test_an_unknown_diameter_leaves_cover_unjudged_but_not_depth():
    row = b.lateral("L", (0, 0), (200, 0), invert_start=93.0, invert_end=98.9, located_by="level")
    judged = judge(evidence_of(row, ground_ft=lambda x, y: np.full(len(x), 99.0)))
    assert not len(judged.shallow)
    assert table(judged.deep) == [(0, 0.0, round(0.8 / 5.9 * 200, 3), 6.0, 0.0)]
    assert not len(judged.unknown)


def test_lines_that_are_not_active_are_left_alone():
    evidence = evidence_of(pipe_of_a08(), pipe_of_a08(), ground_ft=sloping)
    judged = judge_cover(evidence, np.array([False, True]), 2.0 * FT, 5.2 * FT)
    assert judged.shallow.line.tolist() == [1] and not len(judged.unknown)


@given(st.lists(st.floats(0.5, 4.0), min_size=3, max_size=7), st.data())
def test_cutting_a_pipe_at_a_vertex_changes_no_cover(covers, data):
    """Inverts at vertices 40 ft apart under level ground: one drain, or two that meet at a vertex."""
    k = data.draw(st.integers(1, len(covers) - 2))
    vertices = [(40.0 * i, 0.0, 100.0 - 4 / 12 - cover) for i, cover in enumerate(covers)]

    def found(*parts):
        rows = [b.lateral(f"L{i}", *part, diameter=4, located_by="level") for i, part in enumerate(parts)]
        shallow = judge(evidence_of(*rows, ground_ft=lambda x, y: np.full(len(x), 100.0), step_ft=40.0)).shallow
        start = np.where(shallow.line == 1, 40.0 * k * FT, 0.0)
        return np.sum(shallow.to_m - shallow.from_m), np.min(shallow.worst_m, initial=9.0), start + shallow.from_m

    whole_m, whole_worst, whole_from = found(vertices)
    cut_m, cut_worst, cut_from = found(vertices[: k + 1], vertices[k:])
    assert cut_m == pytest.approx(whole_m, abs=1e-4)
    assert cut_worst == pytest.approx(whole_worst)
    assert all(np.min(np.abs(cut_from - place)) < 1e-4 for place in whole_from)
