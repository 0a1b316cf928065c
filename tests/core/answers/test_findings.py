"""The findings of the sample, grouped, filtered and explained."""

import numpy as np
import pytest
import scenarios
import shapely
from fallkeeper.plugin.answers.answer import as_text
from fallkeeper.plugin.answers.findings import FindingsView
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
