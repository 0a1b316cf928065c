"""Falls of stretches: between measured inverts, and from ground less depth."""

import builders as b
import numpy as np
import pytest
from builders import FT
from fallkeeper.plugin.elevation.evidence import Evidence
from fallkeeper.plugin.elevation.grade import call, p_reverse
from fallkeeper.plugin.elevation.ground import sample_lines
from fallkeeper.plugin.elevation.points import collect_points
from fallkeeper.plugin.elevation.runs import grade_runs, uncovered
from fallkeeper.plugin.elevation.sources import Source
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.tables import Shots
from hypothesis import given
from hypothesis import strategies as st

LIMITS = Limits()
NO_CUTS = (np.zeros(0, dtype=int), np.zeros(0))


def evidence_of(*rows, shots=None, ground=None, step_m=5.0, unit_m=FT):
    drains = b.drains(*rows, unit_m=unit_m)
    lines, _ = explode(drains.geometry)
    points = collect_points(lines, drains, shots or Shots.none(), LIMITS, 0.3)
    everywhere = np.ones(len(lines), dtype=bool)
    profile = sample_lines(lines, ground, step_m, everywhere) if ground else None
    return Evidence(lines, drains, points, profile, LIMITS)


def table(runs, unit_m=FT):
    return [
        (int(line), *(round(float(v) / unit_m, 3) for v in row))
        for line, *row in zip(runs.line, runs.from_m, runs.to_m, runs.fall_m)
    ]


def unknown(evidence, runs, unit_m=FT):
    gaps = uncovered(runs, evidence.lines, np.ones(len(evidence.lines), dtype=bool))
    return [
        (int(line), round(float(a) / unit_m, 3), round(float(z) / unit_m, 3))
        for line, a, z in zip(gaps.line, gaps.from_m, gaps.to_m)
    ]


INVERTS = {0: 95.00, 100: 95.10, 200: 95.25, 300: 95.20, 400: 95.35}


def hidden_reverse_as_shots():
    shots = b.shots(*(b.shot(f"s{x}", x, 0, z, error=0.01) for x, z in INVERTS.items()))
    return evidence_of(b.main("A", (0, 0), (400, 0)), shots=shots)


def hidden_reverse_as_drains():
    x = list(INVERTS)
    return evidence_of(*(
        b.main(f"A{low}", (low, 0), (high, 0), invert_start=INVERTS[low], invert_end=INVERTS[high], invert_error=0.01)
        for low, high in zip(x, x[1:])
    ))


@pytest.mark.parametrize("make", [hidden_reverse_as_shots, hidden_reverse_as_drains])
def test_a_reverse_reach_is_not_hidden_by_the_average(make):
    """A06: sta 200 to 300 falls the wrong way; drawn from the outlet up, so water runs against drawing."""
    runs = grade_runs(make(), *NO_CUTS)
    p = p_reverse(-runs.fall_m, runs.sigma_m)
    assert call(p, LIMITS).tolist() == ["falls", "falls", "reverse", "falls"]
    assert -runs.fall_m[2] / FT == pytest.approx(-0.05)
    assert runs.grade[2] * 100 == pytest.approx(0.05)
    assert p[2] == pytest.approx(0.9998, abs=0.0001)
    assert -runs.fall_m.sum() / 400 / FT * 100 == pytest.approx(0.0875)


def test_without_inverts_a_drain_is_unknown_and_neighbours_lend_none():
    """A41: both inverts of the middle drain are unknown; those of its neighbours at the joints are not borrowed."""
    evidence = evidence_of(
        b.main("O-M1", (0, 0), (0, 100), invert_start=95.0, invert_end=95.1, invert_error=0.01),
        b.main("M1-M2", (0, 100), (0, 200)),
        b.main("M2-M3", (0, 200), (0, 300), invert_start=95.2, invert_end=95.3, invert_error=0.01),
    )
    runs = grade_runs(evidence, *NO_CUTS)
    assert runs.line.tolist() == [0, 2]
    assert unknown(evidence, runs) == [(1, 0.0, 100.0)]


def test_inactive_lines_are_not_unknown():
    evidence = evidence_of(b.main("A", (0, 0), (0, 100)), b.main("B", (5, 0), (5, 100)))
    gaps = uncovered(grade_runs(evidence, *NO_CUTS), evidence.lines, np.array([False, True]))
    assert gaps.line.tolist() == [1]


def test_beyond_the_measured_points_there_is_nothing_without_ground():
    shots = b.shots(b.shot("a", 100, 0, 95.0), b.shot("b", 300, 0, 95.2))
    evidence = evidence_of(b.main("A", (0, 0), (400, 0)), shots=shots)
    runs = grade_runs(evidence, *NO_CUTS)
    assert table(runs) == [(0, 100.0, 300.0, -0.2)]
    assert unknown(evidence, runs) == [(0, 0.0, 100.0), (0, 300.0, 400.0)]


def plane(x_m, y_m):
    return 200.0 + 0.001 * x_m + 0.0005 * y_m


def test_ground_less_a_constant_depth_falls_as_the_ground_does():
    evidence = evidence_of(b.lateral("L", (0, 0), (1000, 0)), ground=plane, unit_m=1.0)
    runs = grade_runs(evidence, *NO_CUTS)
    assert table(runs, 1.0) == [(0, 0.0, 1000.0, -1.0)]
    assert runs.source.tolist() == [Source.DEFAULT_DEPTH]


def test_stated_depths_slope_along_the_whole_drain_and_one_stands_for_both():
    evidence = evidence_of(
        b.lateral("both", (0, 0), (100, 0), depth_start=0.8, depth_end=1.2),
        b.lateral("start", (0, 5), (100, 5), depth_start=0.8),
        b.lateral("probed", (0, 9), (100, 9), depth_end=0.8, located_by="probe"),
        b.main("main", (0, 12), (100, 12)),
        ground=plane, unit_m=1.0,
    )
    runs = grade_runs(evidence, *NO_CUTS)
    assert runs.fall_m == pytest.approx([-0.1 + 0.4, -0.1, -0.1, -0.1])
    assert runs.source.tolist() == [
        Source.STATED_DEPTH, Source.STATED_DEPTH, Source.PROBED_DEPTH, Source.DEFAULT_DEPTH,
    ]
    per_error = runs.sigma_m / np.hypot(0.10, [0.10, 0.10, 0.05, 0.15])
    assert per_error == pytest.approx(per_error[0])
    drain_half_way = evidence.depth_m(np.array([0, 1, 2, 3]), np.full(4, 50.0))
    assert drain_half_way == pytest.approx([1.0, 0.8, 0.8, 3.5 * FT])


def test_one_measured_point_is_no_grade_and_the_ground_tells():
    evidence = evidence_of(b.lateral("L", (0, 0), (100, 0), invert_start=199.0), ground=plane, unit_m=1.0)
    runs = grade_runs(evidence, *NO_CUTS)
    assert table(runs, 1.0) == [(0, 0.0, 100.0, -0.1)]
    assert runs.source[0] == Source.DEFAULT_DEPTH


def test_measured_points_and_ground_share_a_line():
    shots = b.shots(b.shot("a", 101, 0, 199.0), b.shot("b", 303, 0, 199.2), unit_m=1.0)
    evidence = evidence_of(b.main("A", (0, 0), (400, 0)), shots=shots, ground=plane, unit_m=1.0)
    runs = grade_runs(evidence, *NO_CUTS)
    assert table(runs, 1.0) == [(0, 0.0, 101.0, -0.101), (0, 101.0, 303.0, -0.2), (0, 303.0, 400.0, -0.097)]
    assert unknown(evidence, runs, 1.0) == []


def test_structures_cut_a_run_unless_the_piece_is_too_short_for_the_ground():
    evidence = evidence_of(b.main("A", (0, 0), (400, 0)), b.main("B", (0, 9), (90, 9)), ground=plane, unit_m=1.0)
    runs = grade_runs(evidence, np.array([0, 0, 0, 1, 0]), np.array([103.0, 110.0, 3.0, 45.0, 395.0]))
    assert [row[:3] for row in table(runs, 1.0)] == [
        (0, 0.0, 103.0), (0, 103.0, 400.0), (1, 0.0, 45.0), (1, 45.0, 90.0),
    ]


def test_missing_ground_is_left_out_and_a_long_stretch_of_it_splits_the_run():
    def holed(x_m, y_m):
        hole = ((x_m > 99) & (x_m < 131)) | ((x_m > 199) & (x_m < 201)) | (x_m > 389)
        return np.where(hole, np.nan, plane(x_m, y_m))

    evidence = evidence_of(b.main("A", (0, 0), (400, 0)), ground=holed, unit_m=1.0)
    runs = grade_runs(evidence, *NO_CUTS)
    assert table(runs, 1.0) == [(0, 0.0, 95.0, -0.095), (0, 135.0, 385.0, -0.25)]
    assert unknown(evidence, runs, 1.0) == [(0, 95.0, 135.0), (0, 385.0, 400.0)]
    assert evidence.ground.missing_count == 7 + 1 + 3


def test_no_ground_at_all_is_unknown():
    evidence = evidence_of(
        b.main("A", (0, 0), (400, 0)), ground=lambda x_m, y_m: np.full(len(x_m), np.nan), unit_m=1.0
    )
    runs = grade_runs(evidence, *NO_CUTS)
    assert not len(runs)
    assert unknown(evidence, runs, 1.0) == [(0, 0.0, 400.0)]


def test_lidar_over_one_lateral_cannot_tell():
    """A 0.1 % lateral of 265 m under lidar and a usual depth: its slope is far from certain."""
    evidence = evidence_of(b.lateral("L", (0, 0), (265.5, 0)), ground=plane, unit_m=1.0)
    runs = grade_runs(evidence, *NO_CUTS)
    assert call(p_reverse(-runs.fall_m, runs.sigma_m), LIMITS).tolist() == ["cannot_tell"]


def test_best_inverts_at_places():
    shots = b.shots(b.shot("a", 100, 0, 199.0, error=0.01), b.shot("b", 300, 0, 199.2, error=0.03), unit_m=1.0)
    evidence = evidence_of(b.main("A", (0, 0), (400, 0), depth_start=1.0), shots=shots, ground=plane, unit_m=1.0)
    best = evidence.invert_at(np.array([0, 0, 0, 0]), np.array([100.0, 150.0, 300.0, 350.0]))
    assert best.z_m == pytest.approx([199.0, 199.05, 199.2, 200.35 - 1.0])
    assert best.sigma_m == pytest.approx([0.01, 0.015, 0.03, np.hypot(0.1, 0.1)])
    assert best.source.tolist() == [Source.SHOT, Source.SHOT, Source.SHOT, Source.STATED_DEPTH]


def test_an_invert_without_evidence_is_unknown():
    evidence = evidence_of(b.main("A", (0, 0), (400, 0), depth_start=3.0))
    best = evidence.invert_at(np.array([0]), np.array([100.0]))
    assert np.isnan(best.z_m[0]) and np.isnan(best.sigma_m[0]) and best.source[0] == Source.NONE


inverts = st.lists(st.floats(90, 100), min_size=3, max_size=8)


@given(inverts, st.data())
def test_cutting_a_line_at_a_vertex_changes_no_fall(z, data):
    """One drain with a level at every vertex, or two drains that meet at one of them."""
    k = data.draw(st.integers(1, len(z) - 2))
    vertices = [(100.0 * i, 0.0, v) for i, v in enumerate(z)]
    whole = evidence_of(b.main("A", *vertices, located_by="level"), unit_m=1.0)
    lower, upper = vertices[: k + 1], vertices[k:]
    halves = evidence_of(
        b.main("A1", *lower, located_by="level"), b.main("A2", *upper, located_by="level"), unit_m=1.0
    )
    one, two = grade_runs(whole, *NO_CUTS), grade_runs(halves, *NO_CUTS)
    assert one.fall_m == pytest.approx(two.fall_m)
    assert one.sigma_m == pytest.approx(two.sigma_m)
    assert one.from_m == pytest.approx(two.from_m + 100.0 * k * two.line)
