"""The findings of the sample, grouped, filtered and explained."""

import builders as b
import numpy as np
import pytest
import scenarios
import shapely
from cases import case_of, results_of
from fallkeeper.plugin.answers.accept import rows_to_accept
from fallkeeper.plugin.answers.answer import as_text
from fallkeeper.plugin.answers.findings import ACCEPTED, FindingsView
from fallkeeper.plugin.answers.systems import NO_OUTLET, NO_PIPE, named_systems
from fallkeeper.plugin.checks.catalogue import CHECKS
from fallkeeper.plugin.checks.declare import Severity
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.units import US_SURVEY_FOOT_M as FT


@pytest.fixture(scope="module")
def view():
    case = scenarios.case(bridged=False, with_ground=False)
    return FindingsView(case, run_checks(case, CHECKS).findings)


def group(view, check_id, **filters):
    return next(one for one in view.groups(**filters) if one.check.id == check_id)


def test_groups_hold_every_finding_once_and_the_worst_kind_first(view):
    groups = view.groups()
    rows = np.concatenate([one.rows for one in groups])
    assert sorted(rows.tolist()) == list(range(len(view.findings)))
    first = [Severity(view.findings.severity[one.rows[0]]) for one in groups]
    assert first == sorted(first, key=[Severity.SERIOUS, Severity.DOUBT, Severity.NOTE].index)


def test_filter_by_severity(view):
    serious = view.groups(Severity.SERIOUS)
    assert serious and all(view.findings.severity[row] == Severity.SERIOUS for one in serious for row in one.rows)
    assert "near-trees" not in {one.check.id for one in serious}


def test_filter_by_place(view):
    west = view.groups(box_m=(0.0, 0.0, 2000 * FT, 3000 * FT))
    assert "smaller-downstream" not in {one.check.id for one in west}, "main B lies in the east"
    for one in west:
        assert all(shapely.intersects(view.shapes[row], shapely.box(0, 0, 2000 * FT, 3000 * FT)) for row in one.rows)
    assert view.groups(box_m=(-9e6, -9e6, -8e6, -8e6)) == []


def test_the_choke_of_main_b_is_said_with_figures_rule_and_remedy(view):
    row = int(group(view, "smaller-downstream").rows[0])
    assert view.cells(row) == ("Main B (B-1), 0+00 to 11+00", "10.0 in", "12.0 in")
    text = as_text(view.why(row))
    for part in ("What to do", "Value 10.0 in, limit 12.0 in.", "NRCS NEH Part 650", "When it is a false alarm"):
        assert part in text


def test_box_is_that_of_the_shape(view):
    row = int(group(view, "smaller-downstream").rows[0])
    assert view.box_m(row) == pytest.approx((4000 * FT, 0.0, 4000 * FT, 1100 * FT), abs=0.5)


def test_nothing_found_has_no_groups(view):
    none = FindingsView(view.case, view.findings.where(np.zeros(len(view.findings), dtype=bool)))
    assert none.groups() == [] and none.said() == "0 findings, 0 serious"


WHO = {"reason": "dry for years", "accepted_by": "A. Ames", "accepted_on": "2026-03-01"}


def accept(view, rows, **other):
    return view.judged([{**row, **WHO, **other} for row in rows_to_accept(view.case, view.findings, rows)])


def test_filter_by_check(view):
    (trees,) = view.groups(check="near-trees")
    assert trees.check.id == "near-trees" and len(trees.rows) == 14
    assert view.groups(Severity.SERIOUS, check="near-trees") == [] == view.groups(check="sag")
    counts = {check.id: count for check, count in view.checks_found()}
    assert counts["near-trees"] == 14 and sum(counts.values()) == len(view.findings)


def test_what_is_accepted_is_a_group_of_its_own_at_the_end(view):
    rows = group(view, "near-trees").rows
    some = accept(view, rows[:3])
    assert [one.key for one in some.groups()] == [*(one.key for one in view.groups()), ACCEPTED]
    last = some.groups()[-1]
    assert sorted(last.rows.tolist()) == sorted(rows[:3].tolist()) and len(group(some, "near-trees").rows) == 11
    assert some.said().endswith("; 3 accepted") and len(view.groups()[-1].rows) and view.said().count("accepted") == 0
    assert some.cells(int(last.rows[0]))[0].endswith(": Roots of trees can reach the pipe")
    text = as_text(some.why(int(last.rows[0])))
    assert "Accepted on 2026-03-01 by A. Ames: 'dry for years'." in text
    assert {check.id: count for check, count in some.checks_found()}["near-trees"] == 11
    every = accept(view, range(len(view.findings)))
    assert [one.key for one in every.groups()] == [ACCEPTED] and every.said().startswith("0 findings, 0 serious")
    assert every.shapes is not None and every.groups(Severity.SERIOUS)[-1].key == ACCEPTED


def test_what_came_back_warns_in_its_usual_group(view):
    row = int(group(view, "smaller-downstream").rows[0])
    back = accept(view, [row], value=12.0)
    assert ACCEPTED not in [one.key for one in back.groups()]
    assert back.cells(row)[0].startswith("Back: Main B")
    assert as_text(back.why(row)).splitlines()[1] == (
        "! Accepted on 2026-03-01 by A. Ames: 'dry for years', but it is now 10.0 in where 12.0 in was accepted."
    )


def test_systems_are_named_by_main_and_outlet_and_counted(view):
    systems = named_systems(view)
    names = [one.name for one in systems]
    assert names[:2] in (["Main B to Outlet OB", "Main A to Outlet OA"], ["Main A to Outlet OA", "Main B to Outlet OB"])
    assert names[2:] == ["no outlet"] and systems[0].count >= systems[1].count
    assert sum(one.count for one in systems) == len(view.findings)
    for one in systems:
        groups = view.groups(system=one.number)
        assert sum(len(group.rows) for group in groups) == one.count
    assert {"no-outlet", "loose-end"} <= {one.key for one in view.groups(system=NO_OUTLET)}
    half = accept(view, view.groups(system=systems[0].number)[0].rows)
    assert next(one for one in named_systems(half) if one.number == systems[0].number).count < systems[0].count


def test_systems_that_would_read_the_same_and_what_lies_on_no_pipe():
    case = case_of(
        *(b.main(key, (x, 0), (x, 300), name="Main", diameter=4.0) for key, x in (("M1", 0), ("M2", 900))),
        b.main("P", (2000, 0), (2000, 300), openings="perforated"),
        outlets=(b.outlet(0, 0, "O", name="Creek"), b.outlet(900, 0, "P", name="Creek"), b.outlet(5000, 5000, "far")),
        shots=(b.shot("S", 9000, 9000, 50.0),), trees=(b.tree("T", (10, 100), thirst="high"),
                                                     b.tree("U", (910, 100), thirst="high")),
    )
    view = FindingsView(case, results_of(case).findings)
    names = {one.name for one in named_systems(view)}
    assert {"Main (M1) to Creek", "Main (M2) to Creek", "on no pipe"} <= names
    lost = view.groups(system=NO_PIPE)
    assert lost and all((view.findings.line[one.rows] < 0).all() for one in lost)
