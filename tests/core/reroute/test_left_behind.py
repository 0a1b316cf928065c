"""What hangs on the old run that a reroute goes around."""

import builders as b
import pytest
import reroutes
import scenarios
from fallkeeper.plugin.reroute.judge import judge_reroute
from fallkeeper.plugin.reroute.left_behind import find_left_behind


def left(county, points, **given):
    reroute = judge_reroute(county, reroutes.plan_of(points, county.units.foot_m, **given))
    return find_left_behind(reroute, county)


def test_a33_seven_laterals_and_seven_stubs_of_the_sample():
    county = scenarios.case(bridged=True, with_ground=False).county
    found = left(county, reroutes.R1)
    assert found.count == 14 and found.stubs == 7
    assert sorted(found.names) == sorted([f"F{field}-{number}" for field in (1, 2) for number in range(14, 21)])
    assert found.area_m2 / county.units.area_m2 == pytest.approx(7.803, abs=0.001)
    assert found.length_m / county.units.foot_m == pytest.approx(350.0, abs=1e-3)


def test_the_other_way_round_is_the_same():
    county = scenarios.case(bridged=True, with_ground=False).county
    there, back = left(county, reroutes.R1), left(county, reroutes.R1[::-1])
    assert (back.names, back.stubs) == (there.names, there.stubs)
    assert back.areas_m2 == pytest.approx(there.areas_m2)


def test_a_drain_too_low_to_enter_is_left_as_a_whole():
    rows = [b.main("M", (0, 0), (0, 400), invert_start=95.0, invert_end=95.4, located_by="level"),
            b.lateral("L", (100, 200), (0, 200), spacing=50, invert_start=94.0, invert_end=93.9, located_by="level")]
    county = reroutes.county_of(*rows, outlets=[b.outlet(0, 0)]).county
    found = left(county, ((0, 300), (-50, 300), (-50, 100), (0, 100)))
    assert (found.names, found.stubs) == (("L",), 0)
    around = left(county, ((0, 300), (50, 300), (50, 100), (0, 100)))
    assert (around.names, around.stubs) == (("L",), 0), "it is met, but lies lower than the new pipe"
    assert around.area_m2 == pytest.approx(found.area_m2)


def test_a_joint_that_is_an_end_is_not_left():
    rows = [b.main("M", (0, 0), (0, 400), invert_start=95.0, invert_end=95.4),
            *(b.lateral(f"L{y}", (100, y), (0, y), spacing=50) for y in (100, 200, 300))]
    county = reroutes.county_of(*rows, outlets=[b.outlet(0, 0)]).county
    assert left(county, ((0, 300), (-50, 200), (0, 100))).names == ("L200",)


def test_ends_on_two_systems_leave_no_run():
    rows = [b.main("M", (0, 0), (0, 400)), b.main("N", (500, 0), (500, 400))]
    county = reroutes.county_of(*rows, outlets=[b.outlet(0, 0), b.outlet(500, 0, "P")]).county
    assert left(county, ((0, 300), (500, 100))) is None
    assert left(county, ((0, 300), (50, 100))) is None, "one end in the open"
