"""near-trees. Known answers: one thirsty tree (A20), the cottonwoods of the sample (scenario, trees)."""

import builders as b
import numpy as np
import pytest
import scenarios
from cases import case_of, found, of_drains

OUTLET = (b.outlet(0, 0),)


def main(openings="perforated"):
    return b.main("M", (0, 0), (0, 400), openings=openings)


def near(*trees, openings="perforated"):
    return found(case_of(main(openings), outlets=OUTLET, trees=trees), "near-trees")


def test_trees_far_away_are_clean():
    assert near(b.tree("T", (101, 200), thirst="high"), b.tree("U", (-51, 200), thirst="ordinary")) == []


def test_one_thirsty_tree():
    (row,) = near(b.tree("T", (30, 200), thirst="high", name="Willow"))
    assert row.station_to - row.station_from == pytest.approx(190.8, abs=0.1)
    assert (row.station_from + row.station_to) / 2 == pytest.approx(200, abs=0.05)
    assert (row.value, row.limit, row.unit, row.call) == (30.0, 100.0, "ft", "found")
    assert row.detail == "190.8 ft of pipe; nearest Willow, 80.0 ft of it within 50 ft"


def test_an_ordinary_tree_reaches_half_as_far():
    (row,) = near(b.tree("T", (30, 200), thirst="ordinary"))
    assert row.station_to - row.station_from == pytest.approx(80.0, abs=0.1) and row.limit == 50.0


def test_a_tree_of_unknown_thirst_is_found_near_and_doubted_farther_off():
    rows = near(b.tree("T", (30, 200), thirst=None))
    assert [(row.at, row.call) for row in rows] == [
        ((105, 160), "cannot_tell"), ((160, 240), "found"), ((240, 295), "cannot_tell"),
    ]
    assert {row.limit for row in rows if row.call == "found"} == {50.0}


def test_a_known_tree_settles_the_doubt_of_another():
    rows = near(b.tree("T", (30, 200), thirst=None), b.tree("U", (-60, 200), thirst="high"))
    assert [row.call for row in rows] == ["cannot_tell", "found", "cannot_tell"]
    assert rows[1].at == (120, 280)


def test_overlapping_trees_count_once():
    rows = near(*(b.tree(f"T{y}", (20, y), thirst="high") for y in range(50, 400, 50)))
    assert [row.at for row in rows] == [(0, 400)]


def test_pipe_without_openings_is_left_out_and_unknown_openings_are_doubted():
    tree = b.tree("T", (30, 200), thirst="high")
    assert near(tree, openings="none") == []
    assert [row.call for row in near(tree, openings=None)] == ["cannot_tell"]
    assert [row.call for row in near(tree, openings="open_joints")] == ["found"]


def test_rows_of_trees_and_woods_count_like_trees():
    rows = near(b.tree("R", (30, 150), (30, 250), thirst="high"))
    assert rows[0].station_to - rows[0].station_from == pytest.approx(100 + 2 * 95.394, abs=0.1)
    wood = {"tree_id": "W", "geometry": b.box("W", -10, 100, 10, 200)["geometry"], "thirst": "ordinary"}
    assert [(row.at, row.value) for row in near(wood)] == [((50, 250), 0.0)]


def test_the_cottonwoods_of_the_sample():
    rows = found(scenarios.case(bridged=True), "near-trees")
    laterals = {row.drain_id: row for row in rows if row.drain_id.startswith("F")}
    assert set(laterals) == {f"F{field}-{k}" for field in (1, 2) for k in range(15, 21)}
    inner = {key for key, row in laterals.items() if " 0.0 ft of it" not in row.detail}
    assert inner == set(laterals) - {"F1-15", "F2-15"}
    main_a = [row for row in rows if row.drain_id.startswith("A")]
    assert sum(row.station_to - row.station_from for row in main_a) == pytest.approx(387.35, abs=0.1)
    assert main_a[0].station_from == pytest.approx(766.33, abs=0.1)


def test_without_a_layer_of_trees_it_is_not_checked_and_an_empty_one_is_no_doubt():
    case = case_of(main(), outlets=OUTLET)
    assert found(case, "near-trees") == [] and of_drains(case, "near-trees", "choose TREES") is None
    case = case_of(main(), outlets=OUTLET, trees=[])
    assert found(case, "near-trees") == [] and of_drains(case, "near-trees", "TREES") == set()


def test_stretches_do_not_overlap():
    random = np.random.default_rng(1)
    thirst = np.array(["high", "ordinary", None], dtype=object)
    trees = [
        b.tree(f"T{k}", (random.uniform(-120, 120), random.uniform(-50, 450)), thirst=thirst[k % 3]) for k in range(12)
    ]
    rows = sorted(near(*trees), key=lambda row: row.station_from)
    assert all(after.station_from >= before.station_to - 0.05 for before, after in zip(rows, rows[1:]))
