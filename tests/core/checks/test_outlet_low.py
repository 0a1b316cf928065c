"""outlet-low: invert of the outlet against water and bottom of the ditch."""

import builders as b
import pytest
from cases import case_of, found, of_drains

MAIN = b.main("M", (0, 0), (0, 300), invert_start=95.6, invert_end=95.9)


def outlet_at(**levels):
    return case_of(MAIN, outlets=(b.outlet(0, 0, **{"water_level": 94.4, "bed_level": 92.6, **levels}),))


def test_an_outlet_well_above_the_ditch_is_clean():
    assert found(outlet_at(), "outlet-low") == []  # 1.20 above normal water, as in the sample
    assert of_drains(outlet_at(), "outlet-low", "outlet") == set()


def test_too_near_to_the_water_is_a_doubt():
    (row,) = found(outlet_at(water_level=95.4), "outlet-low")
    assert row.value == pytest.approx(0.2) and row.limit == pytest.approx(0.33, abs=0.005)
    assert (row.severity, row.place, row.drain_id, row.unit) == ("doubt", True, "M", "ft")
    assert row.detail == "0.20 ft above normal water"


def test_under_water_is_serious():
    (row,) = found(outlet_at(water_level=96.0), "outlet-low")
    assert row.value == pytest.approx(-0.4) and row.severity == "serious"


def test_too_near_to_the_bottom_is_a_row_of_its_own():
    rows = found(outlet_at(water_level=95.5, bed_level=95.0), "outlet-low")
    assert [row.detail for row in rows] == ["0.10 ft above normal water", "0.60 ft above the bottom of the ditch"]
    assert [row.limit for row in rows] == pytest.approx([0.328, 1.0], abs=1e-3)


def test_the_outlets_own_invert_wins_over_the_pipes():
    assert found(outlet_at(invert=94.5), "outlet-low")[0].value == pytest.approx(0.1)


def test_what_nobody_recorded_is_not_checked():
    assert of_drains(outlet_at(bed_level=None), "outlet-low", "not recorded") is None
    case = case_of(b.main("M", (0, 0), (0, 300)), outlets=(b.outlet(0, 0, water_level=99.0, bed_level=98.0),))
    assert found(case, "outlet-low") == [] and of_drains(case, "outlet-low", "not recorded") is None


def test_an_outlet_nobody_marked_has_no_ditch():
    case = case_of(MAIN)
    assert found(case, "outlet-low") == [] and of_drains(case, "outlet-low", "not recorded") is None
