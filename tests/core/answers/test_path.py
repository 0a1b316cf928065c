"""The long section of pipes that are there: known answers of the sample, sills, water outside, missing data."""

import builders as b
import numpy as np
import pytest
import reroutes
import scenarios
from fallkeeper.plugin.answers.answer import as_text
from fallkeeper.plugin.answers.path import profile_of
from fallkeeper.plugin.answers.path_words import explain_path, headline
from fallkeeper.plugin.land.owners import LandMap
from fallkeeper.plugin.network.trace import place_near
from fallkeeper.plugin.network.walk import walk_between, walk_up_from_outlet
from fallkeeper.plugin.report.profile import profile_svg
from fallkeeper.plugin.report.profile_data import JOINT, SILL, SIZE_STEP, STRUCTURE, WATER, call_runs
from fallkeeper.plugin.report.profile_words import as_csv, said_at

FOOT = scenarios.US_SURVEY_FOOT_M


def path_of(county, x, y, foot_m=b.FT, **given):
    walk = walk_up_from_outlet(county.network, place_near(county.network, (x * foot_m, y * foot_m), 2.0))
    return profile_of(county, walk, **given)


def marks(path, kind, foot_m=b.FT):
    return [(round(mark.at_m / foot_m, 3), mark.name) for mark in path.profile.marks if mark.kind == kind]


def test_s51_main_a_from_the_plug_to_the_outlet():
    case = scenarios.case(bridged=True)
    path = path_of(case.county, 1000, 905, FOOT, trees=case.trees)
    profile = path.profile
    assert profile.station_m[[0, -1]] / FOOT == pytest.approx([0, 905])
    assert profile.invert_m[[0, -1]] / FOOT == pytest.approx([695.60, 696.505])
    assert profile.ground_m[[0, -1]] / FOOT == pytest.approx([699.0, 699.905], abs=1e-4)
    assert "905.0 ft of pipe" in headline(path) and "falls 0.905 ft toward the outlet (0.1000 %)" in headline(path)
    assert len(marks(path, JOINT, FOOT)) == 34 and marks(path, STRUCTURE, FOOT) == [(0, "Outlet OA")]
    assert [(mark.at_m, round(mark.invert_m / FOOT, 2)) for mark in profile.marks if mark.kind == WATER] == [
        (0.0, 694.40)]
    assert sum(tree.to_m - tree.from_m for tree in profile.trees) / FOOT == pytest.approx(905 - 766.33, abs=0.02)
    text = as_text(explain_path(path, case.land, LandMap.of(case.land)))
    assert "Every stretch falls" in text and "34 drains join" in text and "Tarrowick Farm\t855.0" in text


def test_s51_the_road_and_the_land_that_the_water_of_k_passes():
    case = scenarios.case(bridged=True)
    for x, rows in ((1000, ("\t60.0", "Tarrowick Farm\t1,050.0")),
                    (4000, ("\t60.0", "Tarrowick Farm\t1,050.0", "Low Sedge Farm\t1,050.0"))):
        text = as_text(explain_path(path_of(case.county, x, 1160, FOOT), case.land, LandMap.of(case.land)))
        for row in rows:
            assert row in text, text


def test_s52_the_clay_of_main_b_is_smaller_than_the_pipe_above():
    case = scenarios.case(bridged=True)
    path = path_of(case.county, 4000, 1700, FOOT)
    assert marks(path, SIZE_STEP, FOOT) == [(1100, "10 | 12 in")]
    assert "Size at 11+00: 12 in above, 10 in below: smaller downstream." in as_text(explain_path(path))


BELLY = [b.main("M", (0, 0), (0, 100), invert_start=10.0, invert_end=10.5, located_by="level", diameter=12),
         b.main("N", (0, 100), (0, 200), invert_start=10.5, invert_end=10.1, located_by="level", diameter=12),
         b.main("P", (0, 200), (0, 300), invert_start=10.1, invert_end=11.0, located_by="level", diameter=12)]


def test_water_stands_behind_a_sill_and_is_drawn():
    county = reroutes.county_of(*BELLY, outlets=[b.outlet(0, 0)]).county
    path = path_of(county, 0, 300)
    assert marks(path, SILL) == [(100, "0.40 ft of water")]
    wet = np.isfinite(path.profile.water_m)
    assert path.profile.station_m[wet].min() / b.FT > 100 and path.profile.water_m[wet] / b.FT == pytest.approx(10.5)
    assert path.profile.station_m[wet].max() / b.FT <= 200 + 100 * 0.4 / 0.9
    assert [run.call for run in call_runs(path.profile)] == ["falls", "reverse", "falls"]
    text = as_text(explain_path(path))
    assert "A sill at 1+00 holds back up to 0.40 ft of water" in text and "reverse\t1+00\t2+00" in text
    drawn = profile_svg(path.profile)
    assert "water left standing in it" in drawn and "sill that holds water back" in drawn


def test_a_belly_shallower_than_a_tenth_of_the_size_is_not_drawn():
    rows = [dict(row) for row in BELLY]
    rows[1]["invert_end"] = rows[2]["invert_start"] = 10.42
    path = path_of(reroutes.county_of(*rows, outlets=[b.outlet(0, 0)]).county, 0, 300)
    assert not marks(path, SILL) and np.isnan(path.profile.water_m).all()


def test_the_water_outside_stands_in_the_pipe_as_far_as_it_reaches():
    row = b.main("M", (0, 0), (0, 400), invert_start=10.0, invert_end=14.0, located_by="level", diameter=12)
    path = path_of(reroutes.county_of(row, outlets=[{**b.outlet(0, 0), "water_level": 11.0}]).county, 0, 400)
    wet = path.profile.station_m[np.isfinite(path.profile.water_m)] / b.FT
    assert wet.min() == 0 and 80 < wet.max() < 100 and not marks(path, SILL)


def test_without_inverts_and_ground_nothing_is_claimed():
    county = reroutes.county_of(b.main("M", (0, 0), (0, 400)), outlets=[b.outlet(0, 0)]).county
    path = path_of(county, 0, 400)
    assert np.isnan(path.profile.invert_m).all() and [run.call for run in call_runs(path.profile)] == ["unknown"]
    answer = explain_path(path)
    assert "unknown" in headline(path) and "No ground is known" in answer.warnings[0]
    assert "invert unknown" in said_at(path.profile, 10.0)


def test_the_ground_is_sampled_along_the_walk_and_a_wrong_one_is_not_used():
    row = b.main("M", (0, 0), (0, 400), invert_start=10.0, invert_end=14.0, located_by="level")
    county = reroutes.county_of(row, outlets=[b.outlet(0, 0)]).county
    good = path_of(county, 0, 400, sampler=lambda x_m, y_m: 4.5 + y_m * 0.01, ground_name="dem")
    assert good.profile.ground_m[-1] == pytest.approx(4.5 + 4 * b.FT, abs=1e-3) and not good.fault
    bad = path_of(county, 0, 400, sampler=lambda x_m, y_m: 900.0 + 0 * y_m, ground_name="dem")
    assert np.isnan(bad.profile.ground_m).all() and "dem" in bad.fault
    assert explain_path(bad).warnings == (bad.fault,)


def test_between_two_laterals_each_end_is_found_again():
    case = scenarios.case(bridged=True)
    network = case.county.network
    first, last = (place_near(network, (x * FOOT, y * FOOT), 2.0) for x, y in ((1500, 300), (600, 900)))
    path = profile_of(case.county, walk_between(network, first, last))
    assert path.profile.station_m[-1] / FOOT == pytest.approx(1500)
    assert np.array(path.place_at(1500 * FOOT)) / FOOT == pytest.approx([600, 900], abs=1e-3)
    assert path.station_near((1000 * FOOT, 800 * FOOT), 1.0) / FOOT == pytest.approx(1000, abs=1e-3)
    assert path.station_near((1200 * FOOT, 820 * FOOT), 1.0) is None
    assert "does not run one way" in as_text(explain_path(path))


def test_the_table_has_a_row_a_place():
    lines = as_csv(path_of(scenarios.case(bridged=True).county, 1000, 905, FOOT).profile).splitlines()
    assert lines[0].startswith("station (ft),ground (ft),invert (ft)")
    assert lines[1].startswith("0.000,699.0000,695.6000") and "water level: 694.40 ft" in lines[1]
    assert any(line.startswith("100.000,") and "joint: F1-01; joint: F2-01" in line for line in lines)
