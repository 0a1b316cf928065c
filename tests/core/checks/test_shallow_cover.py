"""shallow-cover. Known answer: cover of a straight pipe under falling ground (A08)."""

import builders as b
import numpy as np
import pytest
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)


def falling_ground(x, y):
    return 99.0 - 0.4 * y / 200


def pipe(**fields):
    known = {"diameter": 4.0, "invert_start": 96.0, "invert_end": 96.5, "invert_error": 0.01, **fields}
    return b.main("M", (0, 0), (0, 200), **known)


def test_enough_earth_is_clean():
    case = case_of(pipe(), outlets=OUTLET, ground=lambda x, y: 99.5)
    assert found(case, "shallow-cover") == []


def test_only_the_stretch_under_the_limit_is_found():
    (row,) = found(case_of(pipe(), outlets=OUTLET, ground=falling_ground), "shallow-cover")
    assert row.station_from == pytest.approx(148.15, abs=0.1) and row.station_to == pytest.approx(200, abs=1e-6)
    assert row.value == pytest.approx(1.767, abs=1e-3) and (row.limit, row.unit) == (2.0, "ft")
    assert row.detail == "by stated invert" and 0.7 < row.probability < 0.9  # 0.233 ft under, lidar 0.33 ft


def test_an_office_may_ask_for_more():
    limits = [{"name": "least_cover", "value": 2.5, "unit": "ft"}]
    (row,) = found(case_of(pipe(), outlets=OUTLET, ground=falling_ground, limits=limits), "shallow-cover")
    assert row.station_from == pytest.approx(37.04, abs=0.1) and row.limit == 2.5


def test_a_stated_depth_does_without_ground():
    case = case_of(b.main("M", (0, 0), (0, 200), diameter=6, depth_start=2.0, depth_end=4.0), outlets=OUTLET)
    (row,) = found(case, "shallow-cover")
    assert row.at == (0, 50) and row.value == pytest.approx(1.5) and row.detail == "by ground less stated depth"


def test_a_usual_depth_is_no_knowledge():
    case = case_of(b.main("M", (0, 0), (0, 200), diameter=6), outlets=OUTLET, ground=falling_ground)
    assert found(case, "shallow-cover") == [] and of_drains(case, "shallow-cover", "Neither invert nor depth") is None


def test_without_ground_it_is_not_checked():
    case = case_of(pipe(), outlets=OUTLET)
    assert found(case, "shallow-cover") == [] and of_drains(case, "shallow-cover", "choose GROUND") is None


def test_without_a_diameter_there_is_no_crown():
    case = case_of(pipe(diameter=None), outlets=OUTLET, ground=falling_ground)
    assert found(case, "shallow-cover") == [] and of_drains(case, "shallow-cover", "diameter") is None


def test_holes_in_the_ground_are_not_bridged():
    def holed(x, y):
        return float("nan") if 100 < y < 170 else 98.0

    rows = found(case_of(pipe(), outlets=OUTLET, ground=np.vectorize(holed)), "shallow-cover")
    assert [row.at for row in rows] == [(0, 100), (170, 200)]
    case = case_of(pipe(), outlets=OUTLET, ground=np.vectorize(holed))
    assert of_drains(case, "shallow-cover", "ground is missing") is None
