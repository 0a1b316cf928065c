"""Measured inverts: where they count, how sure they are, which one wins."""

import geopandas
import numpy as np
import pytest
import shapely
from fallkeeper.plugin.elevation.points import collect_points
from fallkeeper.plugin.elevation.sources import Source
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.tables import Drains, Shots

LIMITS = Limits()
TOLERANCE_M = 0.3


def points_of(geometry, shots=(), **columns):
    """Points of drains drawn as WKT; `shots` are (x, y, columns)."""
    frame = geopandas.GeoDataFrame(columns, geometry=list(shapely.from_wkt(geometry)))
    drains = Drains.from_frame(frame)
    lines, _ = explode(drains.geometry)
    shot_frame = geopandas.GeoDataFrame(
        [facts for _, _, facts in shots], geometry=[shapely.Point(x, y) for x, y, _ in shots]
    )
    shot_rows = Shots.from_frame(shot_frame) if shots else Shots.none()
    return collect_points(lines, drains, shot_rows, LIMITS, TOLERANCE_M)


def rows(points):
    return [
        (int(line), round(float(at), 3), round(float(z), 4), round(float(sigma), 4), Source(source))
        for line, at, z, sigma, source in zip(
            points.line, points.at_m, points.z_m, points.sigma_m, points.source
        )
    ]


LINE = "LINESTRING (0 0, 100 0)"


def test_inverts_of_start_and_end_with_the_error_of_how_they_were_had():
    found = points_of(
        [LINE] * 5,
        invert_start=[95.0, 95.0, 95.0, 95.0, np.nan],
        invert_end=[95.1, np.nan, 95.1, 95.1, np.nan],
        located_by=["level", "rtk", "machine_log", "memory", "level"],
        invert_error=[np.nan, np.nan, np.nan, np.nan, 0.01],
    )
    assert rows(found) == [
        (0, 0.0, 95.0, 0.005, Source.SURVEYED),
        (0, 100.0, 95.1, 0.005, Source.SURVEYED),
        (1, 0.0, 95.0, 0.02, Source.SURVEYED),
        (2, 0.0, 95.0, 0.03, Source.LOGGED),
        (2, 100.0, 95.1, 0.03, Source.LOGGED),
        (3, 0.0, 95.0, 0.05, Source.STATED),
        (3, 100.0, 95.1, 0.05, Source.STATED),
    ]
    assert found.first.tolist() == [0, 2, 3, 5, 7, 7]
    assert found.count.tolist() == [2, 1, 2, 2, 0]


def test_a_stated_error_wins_and_a_negative_one_is_unknown():
    found = points_of([LINE, LINE], invert_start=[95.0, 95.0], located_by=["memory", "level"], invert_error=[0.01, -1])
    assert found.sigma_m.tolist() == [0.01, 0.005]


def test_the_inverts_of_a_drain_in_parts_are_those_of_its_outer_ends():
    parts = "MULTILINESTRING ((0 0, 10 0), (12 0, 20 0), (20 0, 50 0))"
    found = points_of([parts], invert_start=[5.0], invert_end=[6.0])
    assert [row[:3] for row in rows(found)] == [(0, 0.0, 5.0), (2, 30.0, 6.0)]


def test_drawn_elevations_count_only_where_an_instrument_located_the_line():
    drawn = "LINESTRING Z (0 0 95, 50 0 0, 60 0 95.06, 100 0 95.1)"
    found = points_of([drawn, drawn], located_by=["machine_log", "aerial"])
    assert [row[:3] for row in rows(found)] == [(0, 0.0, 95.0), (0, 60.0, 95.06), (0, 100.0, 95.1)]
    assert set(found.source) == {Source.DRAWN_Z}


def test_attributes_win_over_drawn_elevations_and_a_difference_beyond_the_errors_is_listed():
    drawn = "LINESTRING Z (0 0 95, 100 0 95.5)"
    found = points_of([drawn], invert_start=[95.01], invert_end=[95.1], located_by=["rtk"])
    assert [row[2] for row in rows(found)] == [95.01, 95.1]
    assert found.disagreements.at_m.tolist() == [100.0]
    assert found.disagreements.difference_m == pytest.approx([0.4])
    assert found.disagreements.kept_source[0] == Source.SURVEYED
    assert found.disagreements.other_source[0] == Source.DRAWN_Z


def test_a_shot_and_a_surveyed_invert_of_one_place_become_their_weighted_mean():
    shot = (0.05, 0.0, {"of": "invert", "elevation": 95.02, "error": 0.02})
    found = points_of([LINE], [shot], invert_start=[95.0], located_by=["level"], invert_error=[0.01])
    (row,) = rows(found)
    assert row[:2] == (0, 0.0)
    assert row[2] == pytest.approx((95.02 / 4 + 95.0) / 1.25, abs=1e-4)
    assert row[3] == pytest.approx(0.01 / np.sqrt(1.25), abs=1e-4)
    assert not len(found.disagreements.line)


def test_equals_that_contradict_each_other_widen_the_error():
    shot = (0.0, 0.0, {"of": "invert", "elevation": 96.0, "error": 0.01})
    found = points_of([LINE], [shot], invert_start=[95.0], located_by=["level"], invert_error=[0.01])
    assert found.z_m == pytest.approx([95.5])
    assert found.sigma_m == pytest.approx([0.5])
    assert len(found.disagreements.line) == 1


def test_a_shot_belongs_to_the_drain_it_names_else_to_the_nearest_pipe():
    shots = [
        (50, 0.9, {"of": "invert", "elevation": 95.0, "drain_id": "a"}),
        (60, 0.9, {"of": "invert", "elevation": 95.0, "drain_id": None}),
        (70, 0.5, {"of": "invert", "elevation": 95.0, "drain_id": None}),
        (80, 0.5, {"of": "invert", "elevation": 95.0, "drain_id": "elsewhere"}),
        (80, 90.0, {"of": "invert", "elevation": 95.0, "drain_id": "a"}),
    ]
    found = points_of([LINE, "LINESTRING (0 1, 100 1)"], shots, drain_id=["a", "b"])
    assert [row[:2] for row in rows(found)] == [(0, 50.0), (1, 60.0)]
    assert found.sigma_m.tolist() == [0.005, 0.005]
    assert [(fault.shot, fault.why) for fault in found.unused_shots] == [
        (2, "it lies on no pipe and names no drain"),
        (3, "it names drain 'elsewhere', which is not among these drains"),
        (4, "it lies too far from drain 'a', which it names"),
    ]


def test_a_shot_prefers_pipe_in_the_ground():
    shot = (50, 0.05, {"of": "invert", "elevation": 95.0})
    found = points_of(["LINESTRING (0 0.1, 100 0.1)", LINE], [shot], status=["abandoned", "in_ground"])
    assert found.line.tolist() == [1]


def test_a_shot_of_the_top_of_a_pipe_needs_its_diameter():
    """Invert = top less inside diameter less one wall of 8 % of it: 96.108 - 0.1 · 1.08 = 96.000."""
    shots = [(20, 0, {"of": "pipe_top", "elevation": 96.108}), (20, 5, {"of": "pipe_top", "elevation": 96.108})]
    found = points_of([LINE, "LINESTRING (0 5, 100 5)"], shots, diameter=[0.1, np.nan])
    assert [row[:3] for row in rows(found)] == [(0, 20.0, 96.0)]
    assert [fault.why for fault in found.unused_shots] == ["it is of the top of a pipe whose diameter is unknown"]


def test_shots_of_ground_and_water_are_no_inverts_and_no_faults():
    shots = [(20, 0, {"of": "ground", "elevation": 98.0}), (20, 0, {"of": "water", "elevation": 96.0})]
    found = points_of([LINE], shots)
    assert not len(found) and not found.unused_shots


def test_a_shot_without_an_elevation_is_listed():
    found = points_of([LINE], [(20, 0, {"of": "invert", "elevation": np.nan})])
    assert [fault.why for fault in found.unused_shots] == ["it has no elevation"]


def test_a_machine_log_with_a_point_every_few_centimetres_keeps_its_places():
    x = np.arange(0, 1.001, 0.04)
    drawn = shapely.LineString([(v, 0.0, 95.0 + v) for v in x]).wkt
    found = points_of([drawn], located_by=["machine_log"])
    assert len(found) == 11
    assert found.z_m == pytest.approx(95.0 + found.at_m, abs=0.06)
    assert np.diff(found.at_m).min() > 0.05


def test_nothing_known_gives_no_points():
    found = points_of([LINE])
    assert not len(found)
    assert found.first.tolist() == [0, 0]
