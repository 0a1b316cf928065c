"""Open doubts by the land that depends on them, and the tables of findmissing. Figures in feet and acres."""

import builders as b
import networks
import numpy as np
import pytest
import scenarios
from combs import comb, county
from fallkeeper.plugin.missing.doubts import open_doubts
from fallkeeper.plugin.missing.find import find_missing
from fallkeeper.plugin.missing.tables import doubts_table, missing_findings, probable_table

OUTLET = [b.outlet(0, 0)]
SURE = {"diameter": 12.0, "located_by": "level", "invert_error": 0.001}


def rows_of(columns):
    return [dict(zip(columns, values)) for values in zip(*columns.values())]


def doubts(case, probable=()):
    columns, _ = doubts_table(case, open_doubts(case, probable))
    return rows_of(columns)


def of(rows, check):
    return [(row["drain_id"], round(row["area"], 3)) for row in rows if row["check"] == check]


def sound_rows():
    """A main and two laterals about which nothing is in doubt."""
    return [
        b.main("M", (0, 0), (0, 400), invert_start=90.0, invert_end=94.0, **SURE),
        b.lateral("L1", (0, 100), (871.2, 100), invert_start=92.0, invert_end=96.0, **SURE),
        b.lateral("L2", (0, 300), (871.2, 300), invert_start=94.0, invert_end=98.0, **SURE),
    ]


def test_where_nothing_is_in_doubt_there_is_no_row():
    assert doubts(county(sound_rows(), OUTLET)) == []


def test_a_proposed_joint_has_the_land_behind_it_at_stake():
    """A03: P nearly meets the main, Q ends 12 ft off, S crosses it."""
    case = county(networks.a03_rows(), OUTLET, tolerance_m=networks.FIVE_FT)
    rows = doubts(case)
    acre = 50 / 43_560
    assert of(rows, "proposed-joint") == [("P", pytest.approx(100 * acre, abs=1e-3))]
    assert of(rows, "loose-end") == [("Q", pytest.approx(100 * acre, abs=1e-3))]
    assert of(rows, "crossing-not-joined") == [("S", pytest.approx(80 * acre, abs=1e-3))]
    areas = [row["area"] for row in rows]
    assert areas == sorted(areas, reverse=True)
    accepted = county(networks.a03_rows(), OUTLET, tolerance_m=networks.FIVE_FT, accept_proposed=True)
    assert of(doubts(accepted), "proposed-joint") == []


def test_unknown_size_and_height_count_what_drains_through():
    rows = sound_rows()
    rows[0].update(diameter=None)
    rows[1].update(invert_start=None, invert_end=None)
    found = doubts(county(rows, OUTLET))
    assert of(found, "unknown-size") == [("M", 2.0)]
    assert of(found, "unknown-elevation") == [("L1", 1.0)]
    assert [row["settle"] for row in found] == ["look", "level shot"]


def test_cannot_tell_says_where_to_shoot_and_how_well():
    rows = sound_rows()
    rows[0].update(invert_start=93.99, invert_end=94.0, invert_error=0.05)
    (doubt,) = [row for row in doubts(county(rows, OUTLET)) if row["check"] == "reverse-grade"]
    assert doubt["area"] == pytest.approx(2.0, abs=1e-3)
    assert doubt["settle"] == "level shot"
    assert "stations 0.0 ft and 400.0 ft" in doubt["todo"]


def test_an_outlet_nobody_marked_and_pipe_nobody_saw():
    rows = sound_rows()
    rows[2]["evidence"] = "assumed"
    found = doubts(county(rows))
    assert of(found, "no-outlet") == [("M", 2.0)]
    assert of(found, "assumed-pipe") == [("L2", 1.0)]


def test_flow_that_nobody_knows_has_its_whole_system_at_stake():
    rows = [b.lateral("P", (0, 0), (0, 871.2), **SURE), b.lateral("Q", (871.2, 871.2), (0, 871.2), **SURE)]
    found = doubts(county(rows, [b.outlet(5000, 0)]))
    assert of(found, "unknown-flow") == [("P", pytest.approx(2.0, abs=0.05))]


def test_a_probable_main_stands_for_the_loose_ends_it_explains():
    rows = [b.lateral(f"L{k}", (10, 50 * k), (881.2, 50 * k), invert_start=95 + 0.05 * k, invert_end=97.0, **SURE)
            for k in range(5)]
    case = county(rows, [b.outlet(5000, 0)])
    assert len(of(doubts(case), "loose-end")) == 5
    probable = find_missing(case)
    found = doubts(case, probable)
    assert of(found, "loose-end") == []
    assert (found[0]["check"], found[0]["rank"], round(found[0]["area"], 3)) == ("unmapped-main", 1, 5.0)
    assert found[0]["settle"] == "probe"


def test_tables_of_probable_pipe():
    case = county(comb((0, 50, 100, 200, 250), diameter=4.0))
    probable = find_missing(case)
    columns, shapes = probable_table(case, probable)
    by_kind = {row["kind"]: row for row in rows_of(columns)}
    assert set(by_kind) == {"missing-lateral", "unmapped-main"}
    tooth = by_kind["missing-lateral"]
    assert tooth["evidence"] == "assumed"
    assert (tooth["area"], tooth["length"], tooth["spacing"], tooth["diameter"]) == pytest.approx(
        (1.0, 871.2, 50.0, 4.0), abs=1e-3)
    assert tooth["reasons"].endswith(".")
    assert len(shapes) == 2
    findings, lines = missing_findings(case, probable)
    checks = findings["check"].tolist()
    assert checks.count("no-outlet") == 5
    assert {"missing-lateral", "unmapped-main"} <= set(checks)
    assert len(lines) == len(checks)
    assert not any(line is None or line.is_empty for line in lines)


def test_nothing_found_gives_empty_tables():
    case = county(sound_rows(), OUTLET)
    columns, shapes = probable_table(case, [])
    assert (len(columns["kind"]), len(shapes)) == (0, 0)
    findings, lines = missing_findings(case, [])
    assert (len(findings["check"]), len(lines)) == (0, 0)


def test_the_sample_is_settled_first_at_the_gap_of_main_b():
    case = scenarios.case(False, False)
    probable = find_missing(case.county, case.land)
    assert [one.kind for one in probable] == ["gap-in-main", "missing-lateral"]
    findings, _ = missing_findings(case.county, probable)
    lacking = findings["drain_id"][findings["check"] == "no-outlet"].tolist()
    assert len(lacking) == 17
    assert {"B-3", "F7-10", "F8-10"} <= set(lacking)
    rows = doubts(case.county, probable)
    gap = next(row for row in rows if row["check"] == "gap-in-main")
    assert gap["area"] == pytest.approx(16.0, abs=0.001)
    assert of(rows, "loose-end") == [], "all of them are explained by the bridge"
    assert all(np.isfinite(row["area"]) for row in rows)
