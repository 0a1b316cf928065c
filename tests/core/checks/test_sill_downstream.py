"""sill-downstream: a high place in another pipe on the way out."""

import builders as b
import pytest
from cases import case_of, found, of_drains, where
from grade_cases import OUTLET, four_drains

MAIN = b.main("M", (0, 0), (0, 400), diameter=8, invert_start=95.0, invert_end=95.4, invert_error=0.01)


def lateral(foot, y=200, **fields):
    known = {"diameter": 4, "invert_start": foot + 0.6, "invert_end": foot, "invert_error": 0.01, **fields}
    return b.lateral("L", (300, y), (0, y), **known)


def test_a_lateral_above_its_main_is_clean():
    assert found(case_of(MAIN, lateral(95.3), outlets=OUTLET), "sill-downstream") == []


def test_the_hidden_reverse_holds_water_in_the_drain_above():
    (held,) = found(case_of(*four_drains(), outlets=OUTLET), "sill-downstream")
    assert (held.drain_id, held.at) == ("M300", (0, 33)) and held.station_to == pytest.approx(33.33, abs=0.1)
    assert held.value == pytest.approx(0.050, abs=1e-3) and held.detail == "held back by M200"


def test_a_lateral_that_comes_in_too_low_cannot_run_out():
    (held,) = found(case_of(MAIN, lateral(94.625), outlets=OUTLET), "sill-downstream")
    # 0.575 ft below the main at the joint; 0.2 % up, so 287.5 ft of it stand under water
    assert held.value == pytest.approx(0.575, abs=1e-3) and held.detail == "held back by M"
    assert held.station_to - held.station_from == pytest.approx(287.5, abs=0.1)


def test_a_hump_far_down_counts_and_one_above_does_not():
    hump = [b.shot("S1", 0, 0, 95.0), b.shot("S2", 0, 100, 95.5), b.shot("S3", 0, 150, 95.1), b.shot("S4", 0, 400, 96)]
    main = b.main("M", (0, 0), (0, 400), diameter=8)
    assert where(case_of(main, lateral(95.31), outlets=OUTLET, shots=hump), "sill-downstream") == [("L", 205, 300)]
    assert found(case_of(main, lateral(95.31, y=50), outlets=OUTLET, shots=hump), "sill-downstream") == []


def test_many_laterals_are_judged_each_with_its_own_sill():
    laterals = [
        b.lateral(f"L{y}", (300, y), (0, y), diameter=4, invert_start=95.6, invert_end=95.0 + y / 1000 - 0.2,
                  invert_error=0.01)
        for y in range(20, 400, 20)
    ]
    rows = found(case_of(MAIN, *laterals, outlets=OUTLET), "sill-downstream")
    assert len(rows) == 19 and {round(row.value, 3) for row in rows} == {0.2}


def test_without_inverts_below_nothing_is_held_back_and_the_main_is_not_checked():
    case = case_of(b.main("M", (0, 0), (0, 400)), lateral(95.0), outlets=OUTLET)
    assert found(case, "sill-downstream") == []
    assert of_drains(case, "sill-downstream", "Fewer than two inverts") == {"M"}


def test_with_the_lower_invert_only_it_is_a_place():
    (held,) = found(case_of(MAIN, lateral(94.625, invert_start=None), outlets=OUTLET), "sill-downstream")
    assert held.place and held.at == (300, 300) and held.value == pytest.approx(0.575, abs=1e-3)
