"""The rows of the sample county agree with what is told about it."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.tables import Drains, Land, Structures, Trees
from fallkeeper.plugin.units import US_SURVEY_FOOT_M
from fallkeeper.sample_project.rows import ground_ft, layer_rows, main_invert_ft
from scenario import UNITS, scenario_frames


def test_laterals_serve_one_acre_each():
    drains = scenario_frames(si=False)["drains"]
    laterals = drains[drains.role == "lateral"]
    assert len(laterals) == 150
    acres = laterals.length * laterals.spacing / 43_560
    assert np.allclose(acres, 1.0)
    on_main_a = laterals.geometry.apply(lambda line: line.coords[-1][0] == 1000)
    assert (on_main_a.sum(), (~on_main_a).sum()) == (80, 70)


def test_laterals_join_half_a_foot_above_the_main_and_rise_a_tenth_of_a_percent():
    drains = scenario_frames(si=False)["drains"]
    laterals = drains[drains.role == "lateral"]
    joint_y = shapely.get_y(shapely.get_point(laterals.geometry.values, -1))
    assert np.allclose(laterals.invert_end, 695.6 + 0.001 * joint_y + 0.5)
    assert np.allclose(laterals.invert_start - laterals.invert_end, 0.8712)


def test_pipes_lie_at_the_depths_told():
    assert ground_ft(1000, 0) - main_invert_ft(0) == pytest.approx(3.4)
    drains = scenario_frames(si=False)["drains"].set_index("drain_id")
    assert ground_ft(128.8, 100) - drains.invert_start["F1-01"] == pytest.approx(2.9)
    assert ground_ft(2500, 0) == pytest.approx(700.5)  # both halves meet half-way


def test_the_gap_of_main_b_is_there_until_it_is_bridged():
    keys = set(scenario_frames()["drains"].drain_id)
    assert {key for key in keys if not key.startswith("F")} == {"A-1", "A-2", "B-1", "B-2", "B-3"}
    bridged = scenario_frames(bridged=True, si=False)["drains"].set_index("drain_id")
    gap = bridged.loc["B-gap"]
    assert (gap.invert_start, gap.invert_end, gap.evidence, gap.geometry.length) == (697.21, 697.29, "assumed", 80)


def test_no_lateral_of_f5_at_550():
    assert not any(
        row.values["drain_id"].startswith("F5") and row.places[0][1] == 550 for row in layer_rows()["drains"]
    )


def test_land_is_told_apart_without_overlap():
    land = scenario_frames(si=False)["land"].set_index("land_id")
    assert land.geometry["HALL"].area == 200 * 220
    assert land.geometry["F2"].area == 900 * 1050 - 200 * 220
    assert land.union_all().area == pytest.approx(land.area.sum())


def test_the_engine_takes_the_frames_in_si():
    frames = scenario_frames()
    drains = Drains.from_frame(frames["drains"])
    assert len(drains) == 155
    assert drains.diameter_m[0] == pytest.approx(15 * 0.0254)
    assert drains.invert_start_m[0] == pytest.approx(695.6 * US_SURVEY_FOOT_M)
    structures = Structures.from_frame(frames["structures"])
    assert structures.flow_m3_s[2] / UNITS.flow_m3_s == pytest.approx(4.0)
    assert list(structures.kind) == ["outlet", "outlet", "constant_inflow"]
    assert Land.from_frame(frames["land"]).coefficient_m_s[0] / UNITS.coefficient_m_s == pytest.approx(0.375)
    assert Trees.from_frame(frames["tree_rows"]).thirst[0] == "high"


def test_where_the_plug_is_stands_nowhere():
    assert not any("905" in str(row) for rows in layer_rows().values() for row in rows if "reading_id" in row.values)
