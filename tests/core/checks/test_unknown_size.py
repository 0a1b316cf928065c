"""unknown-size: pipe whose inside diameter is not recorded."""

import builders as b
from cases import case_of, found, where

OUTLET = (b.outlet(0, 0),)


def test_pipe_of_known_size_is_clean():
    assert found(case_of(b.main("M", (0, 0), (0, 300), diameter=6), outlets=OUTLET), "unknown-size") == []


def test_one_row_a_drain_however_many_joints():
    laterals = [b.lateral(f"L{y}", (100, y), (0, y), diameter=4) for y in range(5, 255, 5)]
    rows = found(case_of(b.main("M", (0, 0), (0, 300)), *laterals, outlets=OUTLET), "unknown-size")
    assert [(row.drain_id, row.at, row.severity) for row in rows] == [("M", (0, 300), "note")]


def test_pipe_that_carries_nothing_is_left_out():
    case = case_of(
        b.main("M", (0, 0), (0, 300), diameter=6), b.main("Old", (50, 0), (50, 300), status="abandoned"),
        b.main("Again", (0.5, 0), (0.5, 300)), b.main("Guess", (90, 0), (90, 300), evidence="disproved"),
        outlets=OUTLET,
    )
    assert where(case, "unknown-size") == []


def test_an_unknown_size_is_never_taken_for_the_usual_one():
    case = case_of(b.lateral("L", (100, 0), (0, 0)), outlets=OUTLET)
    assert where(case, "unknown-size") == [("L", 0, 100)]
