"""Pipes in order: acres lost, chances, ties. Figures in feet and acres."""

import time

import builders as b
import geopandas
import networks
import numpy as np
import pytest
import scenarios
import shapely
from fallkeeper.plugin.county import County
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.build import build_network
from fallkeeper.plugin.network.trace import place_near, trace_upstream
from fallkeeper.plugin.ranking.hazards import find_hazards, weights, yearly_chance
from fallkeeper.plugin.ranking.table import ranked_table, ranks
from fallkeeper.plugin.tables import Drains, Structures
from fallkeeper.plugin.units import METRIC, Units
from hypothesis import given
from hypothesis import strategies as st
from long_runs import report, times

US = Units()
OUTLETS = (b.outlet(0, 0),)
EVEN = [{"name": name, "value": value} for name, value in (
    ("hazard_clay", 1), ("hazard_always_wet", 1), ("hazard_reverse", 1), ("hazard_year", 0))]


def county_of(rows, outlets=OUTLETS, limits=()):
    limits = Limits(limits)
    return County(networks.build(rows, outlets, limits=limits), limits, US)


def a14_rows():
    """O <- 1 <- 2 <- 3; 2.0 acres at 1, 1.0 and 0.5 at 2, 3.0 at 3."""
    return [
        *(b.main(f"M{k}", (0, 1000 * k), (0, 1000 * (k - 1))) for k in (1, 2, 3)),
        *(b.lateral(name, (acres * 871.2, y), (0, y)) for name, y, acres in (
            ("a", 1000, 2.0), ("b", 2000, 1.0), ("c", 2000, -0.5), ("d", 3000, 3.0))),
    ]


def table(county, given=None, **options):
    """The rows as {drain: row} in their order."""
    columns, _ = ranked_table(county, find_hazards(county), given, **options)
    return {row["drain_id"]: row for row in (dict(zip(columns, values)) for values in zip(*columns.values()))}


def test_a14_by_acres_with_a_tie():
    rows = table(county_of(a14_rows()))
    assert {key: row["area_lost"] for key, row in rows.items()} == pytest.approx(
        {"M1": 6.5, "M2": 4.5, "M3": 3.0, "d": 3.0, "a": 2.0, "b": 1.0, "c": 0.5}, abs=1e-3)
    assert {key: row["rank"] for key, row in rows.items()} == {
        "M1": 1, "M2": 2, "M3": 3, "d": 3, "a": 5, "b": 6, "c": 7,
    }


def test_a14_by_expected_loss():
    county = county_of(a14_rows())
    chances = {"M1": 0.01, "M2": 0.05, "M3": 0.01}
    given = np.array([chances.get(key, 0.001) for key in county.network.drains.drain_id])
    rows = table(county, given, by_chance=True)
    assert list(rows)[:3] == ["M2", "M1", "M3"]
    assert [rows[key]["expected_loss"] for key in ("M1", "M2", "M3")] == pytest.approx([0.065, 0.225, 0.030], abs=1e-6)
    assert rows["M2"]["rank"] == 1
    assert rows["d"]["why"] == "chance as given"


def test_a15_the_other_way_open_is_said():
    rows = table(county_of(networks.a15_rows()))
    assert {key: (row["area_lost"], row["other_way"]) for key, row in rows.items()} == {
        "1O": (3.0, False), "L": (3.0, False), "21": (0.0, True), "2x": (0.0, True), "x1": (0.0, True),
    }


def test_damage_ranking_of_the_sample():
    """A from its outlet 80, 78, 76, 74, 72, then a tie of 70 on both mains."""
    county = scenarios.case(bridged=True, with_ground=False).county
    columns, _ = ranked_table(county, find_hazards(county))
    first = [(columns["drain_id"][k], round(columns["station_from"][k]), round(columns["area_lost"][k], 3),
              columns["rank"][k]) for k in range(7)]
    assert first[:5] == [("A-1", 0, 80.0, 1), ("A-1", 100, 78.0, 2), ("A-1", 150, 76.0, 3), ("A-1", 200, 74.0, 4),
                         ("A-1", 250, 72.0, 5)]
    assert set(first[5:]) == {("A-1", 300, 70.0, 6), ("B-1", 0, 70.0, 6)}


def test_where_nobody_knows_the_flow_there_is_no_figure_and_no_rank():
    county = county_of([b.lateral("P", (0, 0), (0, 100)), b.lateral("Q", (90, 100), (0, 100))], ())
    row = table(county)["P"]
    assert np.isnan(row["area_lost"])
    assert (row["rank"], row["other_way"]) == (None, None)
    assert 0 < row["yearly_chance"] < 1, "the chance is known all the same"


def test_roots_on_main_a():
    """1 per ft, 20 within 50 ft of the row, 8 from there to 100 ft: 8218.4 on the 2250 ft of main A."""
    case = scenarios.case(bridged=True, with_ground=False)
    limits = Limits(EVEN, foot_m=case.units.foot_m)
    county = County(case.network, limits, case.units)
    hazards = find_hazards(county, case.trees)
    main = np.isin(case.drains.drain_id[case.network.piece_drain], ["A-1", "A-2"])
    foot = case.units.foot_m
    assert hazards.near_trees_m[main].sum() / foot == pytest.approx(271.41, abs=0.05)
    assert (hazards.near_trees_m + hazards.far_trees_m)[main].sum() / foot == pytest.approx(387.35, abs=0.05)
    expected = -np.log1p(-yearly_chance(county, hazards)[main]).sum()
    assert expected / limits["failure_rate"] / foot == pytest.approx(8218.4, abs=0.5)


def test_weights_multiply_and_unknown_is_not_taken_for_sound():
    rows = [
        b.main("clay", (0, 0), (0, 100), material="clay"), b.main("plastic", (0, 100), (0, 200), material="dual_wall"),
        b.main("unknown", (0, 200), (0, 300)),
    ]
    county = county_of(rows, limits=[{"name": "hazard_clay", "value": 5.0}])
    hazards = find_hazards(county, age_years=np.array([10.0, 0.0, np.nan]))
    of = dict(zip(county.network.drains.drain_id[county.network.piece_drain], weights(county, hazards)))
    assert of == pytest.approx({"clay": 5.0 * 1.2, "plastic": 1.0, "unknown": 1.6})


def test_pipe_without_openings_has_no_roots_and_unknown_openings_have():
    rows = [b.main("tight", (0, 0), (0, 100), openings="none"), b.main("unknown", (0, 100), (0, 200))]
    county = county_of(rows)
    trees = b.trees(b.tree("row", (10, -100), (10, 300), thirst="ordinary"))
    near = find_hazards(county, trees).near_trees_m / b.FT
    assert near == pytest.approx([0.0, 100.0])


def test_a_constant_inflow_keeps_all_pipe_below_it_wet():
    spring = b.structure("S", "constant_inflow", 0, 1000, flow=0.001)
    county = county_of(a14_rows(), (b.outlet(0, 0), spring))
    wet = find_hazards(county).always_wet
    assert b.ids(county.network.drains.drain_id, county.network.piece_drain[wet]) == {"M1"}


def test_the_chance_of_a_drain_is_shared_by_its_pieces():
    rows = [b.main("M", (0, 0), (0, 400)), b.lateral("L", (871.2, 100), (0, 100))]
    county = county_of(rows)
    given = np.array([0.2, np.nan])
    chance = yearly_chance(county, find_hazards(county), given)
    main = county.network.drains.drain_id[county.network.piece_drain] == "M"
    assert main.sum() == 2
    assert 1 - np.prod(1 - chance[main]) == pytest.approx(0.2)
    assert chance[~main] == pytest.approx(1 - np.exp(-0.01 * 0.8712 * 1.6))


def test_whose_land_is_lost():
    county = county_of(a14_rows())
    land = b.land(b.box("E", 0, 0, 5000, 5000, owner="East"), b.box("W", -5000, 0, 0, 5000, owner="West"))
    rows = table(county, land=land)
    assert rows["M1"]["owners"] == "East 6.0; West 0.5"
    assert rows["c"]["owners"] == "West 0.5"
    assert rows["M3"]["owners"] == "East 3.0"


def test_the_rate_reads_in_both_units():
    rate = Limits()["failure_rate"]
    assert rate / US.size_si("rate") == pytest.approx(0.01)
    assert rate / Units(METRIC).size_si("rate") == pytest.approx(0.0328, abs=1e-4)


@given(st.lists(st.one_of(st.floats(0, 1e6), st.just(float("nan")), st.just(3.0)), max_size=30))
def test_rank_is_one_more_than_the_number_of_larger_figures(figures):
    figures = np.array(figures, dtype=float)
    shown = np.round(figures, 4)
    for rank, own in zip(ranks(figures, 4), shown):
        assert rank == (None if np.isnan(own) else 1 + int((shown > own).sum()))


@pytest.mark.long
def test_a45_many_trees_in_little_time():
    """A45 asks for 100,000 pipes in 1,000 trees within 60 s, one trace within 1 s; `make test` takes a fifth."""
    trees, laterals = times(200, 1000), 99
    x = np.repeat(np.arange(trees) % 20 * 500.0, laterals)
    foot = np.repeat(np.arange(trees) // 20 * 2000.0, laterals)
    y = foot + np.tile(15.0 * np.arange(1, laterals + 1), trees)
    out = x + np.where(np.arange(len(x)) % 2, 200.0, -200.0)
    ends = np.stack([np.column_stack([out, y]), np.column_stack([x, y])], axis=1)
    roots = np.column_stack([x, foot])[::laterals]
    mains = np.stack([roots + [0.0, 15.0 * laterals + 10.0], roots], axis=1)
    frame = geopandas.GeoDataFrame(
        {"role": np.repeat(["lateral", "main"], [len(x), trees]), "spacing": 15.0},
        geometry=shapely.linestrings(np.concatenate([ends, mains])),
    )
    frame.loc[frame.role == "main", "spacing"] = np.nan
    outlets = geopandas.GeoDataFrame({"kind": "outlet"}, geometry=shapely.points(roots), index=range(trees))
    began = time.process_time()
    network = build_network(Drains.from_frame(frame), Structures.from_frame(outlets))
    county = County(network, Limits(), Units(METRIC))
    columns, _ = ranked_table(county, find_hazards(county))
    ranked_s = time.process_time() - began
    assert ranked_s < 60.0 * trees / 1000
    assert (len(network.drains), network.system_count) == (100 * trees, trees)
    assert (columns["rank"][:trees] == 1).all(), "the foot of every tree loses all of it"
    assert columns["area_lost"][0] == pytest.approx(laterals * 200.0 * 15.0 / 10_000)
    began = time.process_time()
    place = place_near(network, (roots[-1][0], roots[-1][1] + 1.0), 5.0)
    above = trace_upstream(network, place, county.down)
    traced_s = time.process_time() - began
    assert len(above.pieces) >= laterals and traced_s < 1.0
    report("A45", f"{len(network.drains):,} pipes in {trees:,} trees built and ranked in {ranked_s:.1f} s of CPU, one "
                  f"trace {traced_s:.2f} s")
