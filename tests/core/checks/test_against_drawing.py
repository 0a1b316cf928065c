"""against-drawing. Known answer: three mains and L1 used against the way they are drawn (A02)."""

import builders as b
import networks
from cases import case_of, found, where

OUTLET = (b.outlet(0, 0),)
UP = (95.0, 95.1, 95.2, 95.3)


def test_pipe_drawn_toward_the_outlet_is_clean():
    rows = [b.main("M", (0, 300), (0, 0)), b.lateral("L", (100, 100), (0, 100))]
    assert found(case_of(*rows, outlets=OUTLET), "against-drawing") == []


def test_drains_drawn_upward_are_listed_as_notes():
    rows = found(case_of(*networks.a01_rows(upward=True, inverts=UP), outlets=OUTLET), "against-drawing")
    assert [row.drain_id for row in rows] == ["M1", "M2", "M3", "L1"]
    assert {row.severity for row in rows} == {"note"}


def test_a_main_cut_by_laterals_is_one_row_even_where_two_join_at_nearly_one_place():
    laterals = [b.lateral(f"L{k}", (100, y), (0, y)) for k, y in enumerate((50, 100, 100.02, 100.04, 150))]
    case = case_of(b.main("M", (0, 0), (0, 300)), *laterals, outlets=OUTLET)
    assert where(case, "against-drawing") == [("M", 0, 300)]


def test_pipe_whose_direction_nobody_knows_is_not_listed():
    assert found(case_of(b.lateral("L", (0, 0), (100, 0))), "against-drawing") == []


def test_a_main_that_flows_both_ways_is_listed_for_its_half():
    outlets = (b.outlet(0, 0, "O1"), b.outlet(400, 0, "O2"))
    assert where(case_of(b.main("M", (0, 0), (400, 0)), outlets=outlets), "against-drawing") == [("M", 0, 200)]
