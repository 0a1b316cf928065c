"""sag. Known answer: the pool of the hidden reverse, one drain with shots (A06)."""

import builders as b
import pytest
from cases import case_of, found, not_checked, of_drains
from grade_cases import OUTLET, four_drains, one_drain


def test_a_steady_fall_holds_no_water():
    shots = [b.shot(f"S{y}", 0, y, 95 + y / 1000) for y in (0, 100, 200, 300)]
    assert found(case_of(b.main("M", (0, 0), (0, 300), diameter=4), shots=shots, outlets=OUTLET), "sag") == []


def test_the_pool_of_the_hidden_reverse():
    case = case_of(*one_drain()["rows"], shots=one_drain()["shots"], outlets=OUTLET)
    (pool,) = found(case, "sag")
    assert pool.station_from == pytest.approx(200, abs=0.1) and pool.station_to == pytest.approx(333.33, abs=0.1)
    assert pool.value == pytest.approx(0.050, abs=1e-3) and pool.limit == pytest.approx(0.1 * 4 / 12, abs=1e-4)
    assert pool.unit == "ft" and pool.detail == "water stands to 95.25 ft" and pool.call == "found"


def test_with_four_drains_the_part_in_the_next_drain_is_a_sill():
    case = case_of(*four_drains(), outlets=OUTLET)
    assert [(row.drain_id, row.at) for row in found(case, "sag")] == [("M200", (0, 100))]
    (held,) = found(case, "sill-downstream")
    assert held.drain_id == "M300" and held.station_to == pytest.approx(33.33, abs=0.1)


def test_laterals_do_not_cut_a_pool():
    laterals = [b.lateral(f"L{y}", (50, y), (0, y), invert_start=99, invert_end=98) for y in (220, 220.02, 260)]
    case = case_of(*one_drain()["rows"], *laterals, shots=one_drain()["shots"], outlets=OUTLET)
    assert [(row.drain_id, row.at) for row in found(case, "sag")] == [("M", (200, 333))]


def test_a_pool_shallower_than_a_tenth_of_the_diameter_is_left_out():
    rows = [b.main("M", (0, 0), (0, 400), diameter=12)]
    assert found(case_of(*rows, shots=one_drain()["shots"], outlets=OUTLET), "sag") == []


def test_without_a_diameter_only_what_is_sure_is_listed():
    rows = [b.main("M", (0, 0), (0, 400))]
    (pool,) = found(case_of(*rows, shots=one_drain()["shots"], outlets=OUTLET), "sag")
    assert pool.limit != pool.limit and pool.call == "found"
    unsure = [dict(shot, error=0.2) for shot in one_drain()["shots"]]
    assert found(case_of(*rows, shots=unsure, outlets=OUTLET), "sag") == []


def test_an_unsure_pool_is_a_note():
    unsure = [dict(shot, error=0.1) for shot in one_drain()["shots"]]
    (pool,) = found(case_of(*one_drain()["rows"], shots=unsure, outlets=OUTLET), "sag")
    assert (pool.call, pool.severity) == ("cannot_tell", "note") and 0.5 < pool.probability < 0.95


def test_fewer_than_two_inverts_is_not_checked():
    case = case_of(b.main("M", (0, 0), (0, 400), invert_start=95.0), outlets=OUTLET)
    assert found(case, "sag") == [] and list(not_checked(case, "sag").values()) == [None]


def test_ground_does_not_show_a_low_place():
    case = case_of(
        *one_drain()["rows"], *four_drains(status="removed"), outlets=OUTLET,
        ground=lambda x, y: 98 + abs(y - 200) / 100,
    )
    assert found(case, "sag") == [] and of_drains(case, "sag", "Fewer than two inverts") is None
