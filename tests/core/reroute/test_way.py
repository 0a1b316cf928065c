"""What a new pipe meets on its way: drains, earth above it, levels it has to keep, sizes, trees, lots."""

import builders as b
import numpy as np
import pytest
from reroutes import county_of, judged, of

OUTLET = b.outlet(0, 0)
MAIN = b.main("M", (0, 0), (0, 1000), invert_start=95.0, invert_end=96.0, invert_error=0.01, diameter=12,
              openings="perforated")
AROUND = ((0, 200), (100, 200), (100, 600), (0, 600))  # 600 ft, 95.20 to 95.60
NAN = float("nan")


def around(*more, ground=None, trees=None, land=None, route=AROUND, **given):
    return judged(county_of(MAIN, *more, outlets=[OUTLET], ground=ground, trees=trees, land=land), route, **given)


def crossing(invert, error=0.01, **fields):
    """The finding on a drain across the route at its station 300, where the new invert is 95.40 ft."""
    known = {} if invert is None else {"invert_start": invert, "invert_end": invert, "invert_error": error}
    row, = of(around(b.lateral("X", (50, 400), (150, 400), **known, **fields)), "crossing-not-joined")
    return row


@pytest.mark.parametrize(("invert", "error", "severity", "call", "says"), [
    (95.90, 0.01, "note", "found", "0.500 ft above the new invert: may enter"),
    (95.40, 0.01, "doubt", "cannot_tell", "cannot tell whether it can enter"),
    (95.43, 0.10, "doubt", "cannot_tell", "cannot tell whether it can enter"),
    (95.00, 0.01, "serious", "found", "0.400 ft below the new invert: lies too low to enter"),
    (None, 0.01, "doubt", "unknown", "its invert is unknown"),
])
def test_a_crossed_drain_can_enter_or_not(invert, error, severity, call, says):
    row = crossing(invert, error)
    assert (row["drain_id"], row["severity"], row["call"]) == ("X", severity, call)
    assert says in row["detail"] and "at 3+00 of the new pipe, which crosses X" in row["detail"]
    assert row["value"] == (pytest.approx(invert - 95.4) if invert else pytest.approx(NAN, nan_ok=True))


def test_a_drain_whose_top_lies_below_passes_under():
    assert "passes under" in crossing(95.0, diameter=4)["detail"]
    assert "passes under" not in crossing(95.2, diameter=4)["detail"]


def test_meetings_at_the_ends_are_tie_ins():
    tied = b.lateral("T", (-100, 600), (0, 600), invert_start=96.5, invert_end=96.1)
    assert not of(around(tied), "crossing-not-joined")


def test_an_overshoot_at_the_end_is_no_crossing():
    found = around(route=((-0.8, 200), (100, 200), (100, 600), (-0.8, 600)))
    assert not of(found, "crossing-not-joined") and not of(found, "loose-end")


def test_a_drain_that_ends_on_the_route_and_one_whose_line_it_follows():
    """In line: the new pipe lies in the trench of the old one for 400 ft."""
    ends = b.lateral("E", (-100, 400), (0, 400), invert_start=96.5, invert_end=96.4, invert_error=0.01)
    found = around(ends, route=((0, 200), (0, 600)))
    rows = {row["drain_id"]: row for row in of(found, "crossing-not-joined")}
    assert "follows its line for 400.0 ft" in rows["M"]["detail"] and rows["M"]["severity"] == "note"
    assert "which end of E" in rows["E"]["detail"] and "1.000 ft above" in rows["E"]["detail"]
    assert found.grade == pytest.approx(0.1)


def test_an_abandoned_drain_is_not_met():
    gone = b.lateral("X", (50, 400), (150, 400), status="abandoned")
    assert not of(around(gone), "crossing-not-joined")


def dip(x, y):
    """Ground 99.00, and a dip along y = 400 down to 97.40 with sides of 1 in 25."""
    return np.minimum(99.0, 97.4 + 0.04 * abs(y - 400.0))


def test_thin_cover_is_the_stretch_in_the_dip():
    """At station 300 the ground is 97.40, the top of an 8 in pipe 96.067: cover 1.333 ft, the least wanted 2.0."""
    found = around(ground=dip, diameter=8)
    row, = of(found, "shallow-cover")
    assert row["value"] == pytest.approx(97.4 - 95.4 - 8 / 12, abs=0.01)
    assert row["drain_id"] == "New pipe" and row["limit"] == pytest.approx(2.0)
    # cover(s) = 1.3333 + 0.04·|s - 300| - (0.4 / 600)·(s - 300) = 2.0
    assert (row["station_from"], row["station_to"]) == pytest.approx(
        (300 - 0.6667 / (0.04 + 0.4 / 600), 300 + 0.6667 / (0.04 - 0.4 / 600)), abs=0.4)


def test_a_deep_stretch():
    found = around(ground=lambda x, y: 99.0 + 2.0 * (x > 50.0), diameter=8)
    row, = of(found, "deep-trench")
    assert row["value"] == pytest.approx(101.0 - 95.2 - 0.4 * 50 / 600, abs=0.03) and row["limit"] == pytest.approx(5.2)


def test_without_ground_neither_is_checked():
    found = around(diameter=8)
    assert found.why["shallow-cover"] == found.why["deep-trench"] == ["No ground raster was given: choose GROUND."]


def test_missing_ground_stays_missing():
    found = around(ground=lambda x, y: NAN if 350 < y < 450 else 99.0, diameter=8)
    assert "The ground is missing along" in found.why["deep-trench"][0]
    gap, = [row for row in found.stations if row["label"] == "3+00"]
    assert np.isnan(gap["ground"]) and np.isnan(gap["cut"]) and gap["invert"] == pytest.approx(95.4)


def test_a_fixed_level_the_grade_keeps_and_one_it_misses():
    fixed = [(100, 400, 95.3, NAN), (100, 300, 95.5, NAN), (100, 500, NAN, 95.3), (400, 400, 0.0, NAN)]
    found = around(fixed=fixed)
    least, greatest = of(found, "fixed-invert")
    # station 200: 95.333 is 0.167 under 95.5; station 400: 95.467 is 0.167 over 95.3
    assert (least["value"], least["limit"]) == pytest.approx((95.3333, 95.5), abs=1e-3)
    assert "at P1 it passes 0.167 ft below the least invert" in least["detail"]
    assert (greatest["value"], greatest["limit"]) == pytest.approx((95.4667, 95.3), abs=1e-3)
    assert "at P2 it passes 0.167 ft above the greatest invert" in greatest["detail"]
    assert {row["severity"] for row in (least, greatest)} == {"serious"}
    assert "Fixed point P3 lies more than 9.8 ft from the route" in found.why["fixed-invert"][0]
    assert [row["note"] for row in found.stations if row["note"] and "P0" in row["note"]]


def test_a_fixed_level_within_the_errors_is_a_doubt():
    row, = of(around(fixed=[(100, 400, 95.40, NAN)]), "fixed-invert")
    assert (row["severity"], row["call"]) == ("doubt", "cannot_tell")


@pytest.mark.parametrize(("diameter", "drain"), [(8, "New pipe"), (15, "M")])
def test_sizes_on_the_way_down(diameter, drain):
    row, = of(around(diameter=diameter), "smaller-downstream")
    assert (row["drain_id"], row["value"], row["limit"]) == (drain, min(diameter, 12), max(diameter, 12))


def test_the_same_size_is_none():
    assert not of(around(diameter=12), "smaller-downstream")


def test_solid_pipe_is_safe_from_roots_but_old_pipe_is_not():
    oak = b.tree("T", (20, 640), thirst="ordinary")
    perforated, solid = (around(trees=[oak], openings=kind) for kind in ("perforated", "none"))
    assert {row["drain_id"] for row in of(perforated, "near-trees")} == {"New pipe", "M"}
    kept, = of(solid, "near-trees")
    # above the tie-in at 600: 50 ft around (20, 640) is y 594.2 to 685.8 on the main
    assert (kept["station_from"], kept["station_to"]) == pytest.approx((600, 685.8), abs=0.1)


def test_trees_along_the_run_that_is_replaced_are_not_told():
    assert not of(around(trees=[b.tree("T", (-20, 400), thirst="ordinary")]), "near-trees")


def test_trees_a_little_way_up_the_old_pipe_are_told_and_far_ones_not():
    near, far = (around(trees=[b.tree("T", (10, y), thirst="ordinary")]) for y in (700, 800))
    row, = of(near, "near-trees")
    assert "from it; nearest T" in row["detail"] and row["station_from"] == pytest.approx(651.0, abs=0.1)
    assert not of(far, "near-trees")


def test_without_trees_or_land_it_says_so():
    found = around()
    assert "choose TREES" in found.why["near-trees"][0] and "choose LAND" in found.why["under-lot"][0]


def test_lots_and_roads_on_the_way():
    lots = [
        b.box("A", 90, 300, 110, 350, name="Yard", use="lot"), b.box("B", 90, 400, 110, 420, name="Road", use="road"),
        b.box("C", 0, 0, 200, 1000, name="Field", use="field"),
    ]
    found = {row["detail"]: row["value"] for row in of(around(land=lots), "under-lot")}
    assert found == {"under Yard": pytest.approx(50), "under Road": pytest.approx(20)}


@pytest.mark.parametrize(("least", "call", "severity"), [(0.10, "found", "doubt"), (0.066, "cannot_tell", "note")])
def test_least_grade(least, call, severity):
    row, = of(around(least_grade=least), "flat-grade")
    assert (row["call"], row["severity"], row["limit"]) == (call, severity, pytest.approx(least))


def test_the_least_grade_of_a_known_size_is_that_of_the_least_velocity():
    """4 in at n 0.015 and 0.5 ft/s: (0.5·0.015 / (1.486·(1/12)^(2/3)))^2 = 0.0700 %."""
    found = around(diameter=4)
    assert found.reroute.verdict.least_grade == pytest.approx(0.000700, rel=0.01)
    assert of(found, "flat-grade")
