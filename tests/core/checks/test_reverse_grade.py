"""reverse-grade. Known answers: the hidden reverse (A06), how sure (A07), unknown is not fine (A41)."""

import dataclasses

import builders as b
import networks
import numpy as np
import pytest
from cases import case_of, found, not_checked, not_checked_rows, of_drains, where
from grade_cases import INVERTS, OUTLET, four_drains, one_drain

UP = (95.0, 95.1, 95.2, 95.3)


def fall_of(fall_ft, error_ft):
    """A pipe of 300 ft with this fall toward the outlet."""
    return case_of(
        b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.0 + fall_ft, invert_error=error_ft),
        outlets=OUTLET,
    )


def calls_of(case):
    """The call of each drain that is one piece."""
    return dict(zip(case.drains.drain_id[case.network.piece_drain], case.county.piece_grades.call))


def test_a_pipe_that_falls_all_the_way_is_clean():
    case = case_of(*networks.a01_rows(upward=True, inverts=UP), outlets=OUTLET)
    assert found(case, "reverse-grade") == []
    calls = calls_of(case)
    assert {calls[key] for key in ("M1", "M2", "M3")} == {"falls"}
    assert {calls[key] for key in ("L1", "L2", "L3", "L4")} == {"unknown"}


def test_hidden_reverse_of_four_drains():
    (row,) = found(case_of(*four_drains(), outlets=OUTLET), "reverse-grade")
    assert (row.drain_id, row.at, row.call, row.severity) == ("M200", (0, 100), "reverse", "serious")
    assert row.value == pytest.approx(-0.05, abs=1e-4) and (row.limit, row.unit) == (0.0, "%")
    assert row.probability == pytest.approx(0.9998, abs=1e-4)
    assert row.detail == "by stated invert: it rises 0.050 ft downstream over the stretch"


def test_hidden_reverse_of_one_drain_with_shots():
    shots = one_drain()
    (row,) = found(case_of(*shots["rows"], shots=shots["shots"], outlets=OUTLET), "reverse-grade")
    assert (row.drain_id, row.at, row.call) == ("M", (200, 300), "reverse")
    assert row.value == pytest.approx(-0.05, abs=1e-4)


def test_laterals_do_not_cut_a_run():
    laterals = [b.lateral(f"L{y}", (50, y), (0, y)) for y in range(5, 400, 8)]
    shots = one_drain()
    case = case_of(*shots["rows"], *laterals, shots=shots["shots"], outlets=OUTLET)
    assert where(case, "reverse-grade") == [("M", 200, 300)]


def test_neighbouring_runs_with_the_same_call_are_one_row_with_the_worst_grade():
    shots = [b.shot(f"S{y}", 0, y, z, error=0.01) for y, z in {0: 96, 100: 95.9, 200: 95.5, 300: 96.5}.items()]
    case = case_of(
        b.main("M", (0, 0), (0, 300)), b.lateral("L", (50, 300), (0, 300)), shots=shots, outlets=OUTLET
    )
    (row,) = found(case, "reverse-grade")
    assert row.at == (0, 200) and row.value == pytest.approx(-0.4)


@pytest.mark.parametrize(
    ("fall", "error", "probability", "call"),
    [(-0.05, 0.03, 0.881, "cannot_tell"), (-0.05, 0.33, 0.543, "cannot_tell"), (-0.125, 0.03, 0.998, "reverse")],
)
def test_how_sure(fall, error, probability, call):
    case = fall_of(fall, error)
    rows = found(case, "reverse-grade") or found(case, "elevation-contradicts-outlet")
    assert rows[0].probability == pytest.approx(probability, abs=2e-3)
    assert case.county.piece_grades.call.tolist() == [call]


def test_cannot_tell_is_a_doubt_that_says_what_would_settle_it():
    (row,) = found(fall_of(0.05, 0.33), "reverse-grade")
    assert (row.call, row.severity) == ("cannot_tell", "doubt")
    assert row.detail.startswith("by stated invert: two inverts shot at the ends of this stretch, each within 0.021 ft")


def test_least_run_that_proves_a_tenth_of_a_percent():
    assert found(fall_of(0.768, 0.33), "reverse-grade") == []  # 768 ft at 0.1 %
    assert found(fall_of(0.766, 0.33), "reverse-grade")[0].call == "cannot_tell"


def test_without_inverts_grade_is_unknown_and_not_borrowed_from_neighbours():
    rows = networks.a01_rows(upward=True, inverts=UP)
    rows[1].update(invert_start=None, invert_end=None)
    case = case_of(*rows, outlets=OUTLET)
    calls = calls_of(case)
    assert (calls["M1"], calls["M2"], calls["M3"]) == ("falls", "unknown", "falls")
    assert "M2" in of_drains(case, "reverse-grade", "Fewer than two inverts")
    above_outlet = case.county.area_above_m2[case.network.piece_drain == 0]
    assert above_outlet / case.units.area_m2 == pytest.approx(3.5)


def test_a_county_without_inverts_is_one_row_for_all_drains():
    case = case_of(*networks.a01_rows(), outlets=OUTLET)
    assert not_checked_rows(case, "reverse-grade") == [("reverse-grade", None)]


def test_a_pipe_of_unknown_direction_is_unknown_though_its_inverts_are_known():
    case = case_of(b.lateral("L", (0, 0), (100, 0), invert_start=95.0, invert_end=95.0))
    assert case.county.piece_grades.call.tolist() == ["unknown"] and found(case, "reverse-grade") == []
    assert list(not_checked(case, "reverse-grade").values()) == [None]
    assert "which way the water runs" in next(iter(not_checked(case, "reverse-grade")))


def test_a_pipe_that_falls_both_ways_from_a_high_point_is_clean():
    shots = [b.shot(f"S{x}", x, 0, z) for x, z in {0: 95.0, 100: 96.0, 400: 95.0}.items()]
    case = case_of(
        b.main("M", (0, 0), (400, 0)), outlets=(b.outlet(0, 0, "O1"), b.outlet(400, 0, "O2")), shots=shots
    )
    assert found(case, "reverse-grade") == [] and set(case.county.piece_grades.call) == {"falls"}


def test_an_end_to_end_average_does_not_stand_for_the_way_between():
    ends = 100 * (INVERTS[400] - INVERTS[0]) / 400
    assert ends == pytest.approx(0.0875)  # falls on the average
    case = case_of(*one_drain()["rows"], shots=one_drain()["shots"], outlets=OUTLET)
    assert "reverse" in case.county.piece_grades.call


def test_a_piece_has_the_worst_call_of_its_stretches():
    shots = one_drain()["shots"][1:]  # nothing known below the first
    case = case_of(*one_drain()["rows"], shots=shots, outlets=OUTLET)
    assert case.county.piece_grades.call.tolist() == ["reverse"]
    case = case_of(*one_drain()["rows"], shots=shots[:2], outlets=OUTLET)
    assert case.county.piece_grades.call.tolist() == ["unknown"]


def test_abandoned_pipe_has_no_grade():
    case = case_of(*four_drains(status="abandoned"), b.lateral("L", (0, 0), (0, 50)), outlets=OUTLET)
    assert found(case, "reverse-grade") == []
    assert np.all(case.drains.drain_id[case.network.lines.drain[case.county.grades.line]] == "L")


def test_speaks_up_where_the_contradiction_with_the_outlet_is_not_told():
    case = fall_of(-0.125, 0.03)
    assert found(case, "reverse-grade") == []
    (row,) = found(dataclasses.replace(case, contradiction_told=False), "reverse-grade")
    assert row.call == "reverse" and row.probability == pytest.approx(0.998, abs=0.002)
