"""under-lot. Known answer: four laterals under the Hall Lot of the sample, 200 ft each."""

import builders as b
import scenarios
import shapely
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)
MAIN = b.main("M", (0, 0), (0, 300))


def test_a_lot_beside_the_pipe_is_clean():
    lot = b.box("H", 1, 0, 100, 100, use="lot")
    assert found(case_of(MAIN, outlets=OUTLET, land=[lot]), "under-lot") == []


def test_four_laterals_under_the_hall_lot():
    rows = found(scenarios.case(bridged=True), "under-lot")
    assert [(row.drain_id, row.value, row.unit) for row in rows] == [(f"F2-{k}", 200.0, "ft") for k in (17, 18, 19, 20)]
    assert {row.detail for row in rows} == {"under Hall Lot"} and {row.severity for row in rows} == {"note"}


def test_a_lot_in_two_touching_parts_is_one_row_with_the_whole_length():
    parts = shapely.MultiPolygon([shapely.box(-10, 50, 10, 100), shapely.box(-10, 100, 10, 180)])
    lot = {"land_id": "H", "use": "lot", "geometry": parts}
    (row,) = found(case_of(MAIN, outlets=OUTLET, land=[lot]), "under-lot")
    assert (row.at, row.value) == ((50, 180), 130.0)


def test_a_pipe_that_leaves_the_lot_and_comes_back_is_two_rows():
    bent = b.main("B", (0, 0), (0, 50), (50, 50), (50, 0))
    rows = found(case_of(bent, outlets=OUTLET, land=[b.box("H", -10, -10, 60, 20, use="lot")]), "under-lot")
    assert [(row.at, row.value) for row in rows] == [((0, 20), 20.0), ((130, 150), 20.0)]


def test_fields_and_roads_are_no_lots():
    land = [b.box("F", -50, 0, 50, 100, use="field"), b.box("R", -50, 100, 50, 200, use="road")]
    assert found(case_of(MAIN, outlets=OUTLET, land=land), "under-lot") == []


def test_without_land_it_is_not_checked():
    assert of_drains(case_of(MAIN, outlets=OUTLET), "under-lot", "choose LAND") is None
