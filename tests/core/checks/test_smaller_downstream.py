"""smaller-downstream. Known answer: 12 in plastic above 10 in clay on main B of the sample."""

import builders as b
import scenarios
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)


def mains(lower, upper):
    return [b.main("Low", (0, 200), (0, 0), diameter=lower), b.main("Up", (0, 200), (0, 400), diameter=upper)]


def test_a_main_that_grows_downstream_is_clean():
    assert found(case_of(*mains(8, 6), outlets=OUTLET), "smaller-downstream") == []
    assert found(case_of(*mains(8, 8), outlets=OUTLET), "smaller-downstream") == []


def test_a_narrowing_is_found_with_both_sizes():
    (row,) = found(case_of(*mains(6, 8), outlets=OUTLET), "smaller-downstream")
    assert (row.drain_id, row.at, row.value, row.limit, row.unit) == ("Low", (0, 200), 6.0, 8.0, "in")
    assert row.detail == "Up above is larger" and row.severity == "serious"


def test_main_b_of_the_sample():
    (row,) = found(scenarios.case(bridged=True), "smaller-downstream")
    assert (row.drain_id, row.at, row.value, row.limit) == ("B-1", (0, 1100), 10.0, 12.0)
    assert row.detail == "Main B (B-2) above is larger"


def test_several_larger_laterals_make_one_row_from_the_uppermost():
    laterals = [b.lateral(f"L{y}", (100, y), (0, y), diameter=size) for y, size in ((50, 10), (100, 8), (150, 8))]
    for ends in ((0, 0), (0, 400)), ((0, 400), (0, 0)):
        rows = found(case_of(b.main("M", *ends, diameter=6), *laterals, outlets=OUTLET), "smaller-downstream")
        (row,) = rows
        assert row.at == ((0, 150) if ends[0] == (0, 0) else (250, 400))
        assert (row.value, row.limit, row.detail) == (6.0, 10.0, "L50 above is larger")


def test_rounding_between_inches_and_millimetres_is_no_narrowing():
    assert found(case_of(*mains(100 / 25.4, 100.05 / 25.4), outlets=OUTLET), "smaller-downstream") == []


def test_an_unknown_size_is_not_compared():
    case = case_of(*mains(None, 8), outlets=OUTLET)
    assert found(case, "smaller-downstream") == []
    assert of_drains(case, "smaller-downstream", "diameter") == {"Low"}


def test_without_any_size_it_is_not_checked_for_all():
    assert of_drains(case_of(*mains(None, None), outlets=OUTLET), "smaller-downstream", "diameter") is None
