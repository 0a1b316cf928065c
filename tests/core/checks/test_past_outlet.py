"""past-outlet: pipe drawn on through an outlet."""

import builders as b
from cases import case_of, found


def test_a_main_that_ends_at_its_outlet_is_clean():
    assert found(case_of(b.main("M", (0, 0), (0, 300)), outlets=(b.outlet(0, 0),)), "past-outlet") == []


def test_the_part_beyond_is_named_with_its_length():
    (past,) = found(case_of(b.main("M", (0, -20), (0, 300)), outlets=(b.outlet(0, 0, name="Weir"),)), "past-outlet")
    assert (past.drain_id, past.at, past.value, past.unit) == ("M", (0, 20), 20.0, "ft")
    assert past.detail == "beyond outlet Weir" and past.severity == "note"


def test_an_outlet_nobody_marked_has_nothing_beyond():
    assert found(case_of(b.main("M", (0, -20), (0, 300))), "past-outlet") == []
