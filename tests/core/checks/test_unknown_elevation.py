"""unknown-elevation: no height, heights that disagree, shots that give none, a ground that cannot be right."""

import builders as b
import numpy as np
import pytest
import shapely
from cases import case_of, found, where

OUTLET = (b.outlet(0, 0),)
KNOWN = {"invert_start": 95.0, "invert_end": 95.3, "invert_error": 0.01}


def test_pipe_with_two_inverts_is_clean():
    assert found(case_of(b.main("M", (0, 0), (0, 300), **KNOWN), outlets=OUTLET), "unknown-elevation") == []


def test_a_main_cut_by_fifty_joints_is_one_row():
    laterals = [b.lateral(f"L{y}", (100, y), (0, y), **KNOWN) for y in range(5, 255, 5)]
    rows = found(case_of(b.main("M", (0, 0), (0, 300)), *laterals, outlets=OUTLET), "unknown-elevation")
    assert [(row.drain_id, row.at, row.call) for row in rows] == [("M", (0, 300), "unknown")]


def test_one_invert_is_not_enough_and_with_ground_it_is():
    main = b.main("M", (0, 0), (0, 300), invert_start=95.0, depth_start=3.0)
    assert where(case_of(main, outlets=OUTLET), "unknown-elevation") == [("M", 0, 300)]
    case = case_of(main, outlets=OUTLET, ground=lambda x, y: 98 + y / 10)
    assert found(case, "unknown-elevation") == [] and case.county.piece_grades.call.tolist() == ["falls"]


def test_beyond_the_outer_shots_nothing_is_known():
    shots = [b.shot("S1", 0, 100, 95.0), b.shot("S2", 0, 200, 95.1)]
    case = case_of(b.main("M", (0, 0), (0, 300)), outlets=OUTLET, shots=shots)
    assert where(case, "unknown-elevation") == [("M", 0, 100), ("M", 200, 300)]


def test_where_the_raster_ends_or_has_a_hole_nothing_is_known():
    def holed(x, y):
        return np.where(((y > 100) & (y < 150)) | (y > 400), np.nan, 98 + y / 100)

    case = case_of(b.main("M", (0, 0), (0, 500), depth_start=3), outlets=OUTLET, ground=holed)
    assert where(case, "unknown-elevation") == [("M", 100, 150), ("M", 400, 500)]
    assert set(case.county.grades.call) == {"falls"} and case.county.piece_grades.call.tolist() == ["unknown"]


def test_two_inverts_of_one_place_disagree():
    shots = [b.shot("S1", 0, 0, 95.4, error=0.01)]
    main = b.main("M", (0, 0), (0, 300), located_by="machine_log", **KNOWN)
    (row,) = found(case_of(main, outlets=OUTLET, shots=shots), "unknown-elevation")
    assert (row.drain_id, row.at, row.place, row.call, row.severity) == ("M", (0, 0), True, "cannot_tell", "doubt")
    assert (row.value, row.unit) == (pytest.approx(0.4), "ft")
    assert row.limit == pytest.approx(1.96 * np.hypot(0.01, 0.01), abs=1e-6)
    assert row.detail == "machine log lies 0.40 ft below the level shot, which was used"


def test_elevations_drawn_with_the_line_against_its_attributes():
    line = shapely.LineString([(0, 0, 95.0), (0, 300, 95.9)])
    main = {"drain_id": "M", "role": "main", "geometry": line, "located_by": "rtk", **KNOWN}
    (row,) = found(case_of(main, outlets=OUTLET), "unknown-elevation")
    assert row.at == (300, 300) and row.value == pytest.approx(0.6) and "0.60 ft above" in row.detail


def test_abandoned_pipe_may_disagree_with_itself():
    shots = [b.shot("S1", 50, 0, 99, drain_id="A")]
    old = b.main("A", (50, 0), (50, 300), status="abandoned", **KNOWN)
    case = case_of(b.main("M", (0, 0), (0, 300), **KNOWN), old, outlets=OUTLET, shots=shots)
    assert found(case, "unknown-elevation") == []


def test_a_shot_that_gives_no_invert_is_named_at_its_place():
    shots = [b.shot("S1", 40, 100, 95.0), b.shot("S2", 0, 100, 95.2, of="pipe_top")]
    rows = found(case_of(b.main("M", (0, 0), (0, 300), **KNOWN), outlets=OUTLET, shots=shots), "unknown-elevation")
    assert [row.detail for row in rows] == [
        "level shot S1 is not used: it lies on no pipe and names no drain",
        "level shot S2 is not used: it is of the top of a pipe whose diameter is unknown",
    ]
    assert all(row.place and row.drain_id is None for row in rows)


def test_a_ground_that_cannot_be_right_is_one_serious_row():
    fault = "The ground 'dem' does not belong to these inverts."
    case = case_of(b.main("M", (0, 0), (0, 300), **KNOWN), outlets=OUTLET, ground_fault=fault)
    rows = found(case, "unknown-elevation")
    assert [(row.detail, row.severity, row.place) for row in rows] == [(fault, "serious", True)]
