"""Running checks: one row a run, the worst value, three outcomes, a crash that stops nothing, and stopping."""

import builders as b
import numpy as np
import pytest
from cases import CHECK, case_of
from fallkeeper.plugin.checks.catalogue import CHECKS
from fallkeeper.plugin.checks.declare import NotChecked, Places, Severity, Stretches, check
from fallkeeper.plugin.checks.run import CanceledError, run_checks

OUTLET = (b.outlet(0, 0),)


@pytest.fixture
def case():
    return case_of(b.main("M", (0, 0), (0, 300)), b.lateral("L", (200, 50), (0, 50)), outlets=OUTLET)


def says(*said, id="made-up", worst="", kind="length"):  # noqa: A002 (the word of the declaration)
    """A check that says what is given."""

    @check(
        id=id, title="Made up", remedy="None.", false_alarm="Always.", severity=Severity.DOUBT, source="none",
        kind=kind, worst=worst,
    )
    def made_up(case):
        yield from said

    return made_up


def breaks(after=()):
    @check(
        id="broken", title="Broken", remedy="None.", false_alarm="Never.", severity=Severity.DOUBT, source="none",
    )
    def broken(case):
        yield from after
        raise ZeroDivisionError("by nothing")

    return broken


def stretches(*ranges, line=0, **columns):
    from_m, to_m = (np.array(ends, dtype=float) for ends in zip(*ranges))
    return Stretches(np.full(len(ranges), line), from_m, to_m, **columns)


def ranges_of(results):
    found = results.findings
    return list(zip(found.line.tolist(), found.from_m.tolist(), found.to_m.tolist()))


def test_neighbours_of_one_call_are_one_row(case):
    said = stretches((20, 30), (0, 10), (10, 20), (50, 60))
    assert ranges_of(run_checks(case, [says(said)])) == [(0, 0, 30), (0, 50, 60)]


def test_a_gap_that_a_node_swallowed_does_not_part_neighbours(case):
    said = stretches((0, 10), (10 + case.network.touch_m / 2, 20))
    assert ranges_of(run_checks(case, [says(said)])) == [(0, 0, 20)]


def test_other_calls_severities_details_and_lines_stay_apart(case):
    call = np.array(["found", "unknown", "found", "found"], dtype=object)
    severity = np.array(["doubt", "doubt", "note", "note"], dtype=object)
    detail = np.array(["", "", "", "other"], dtype=object)
    said = stretches((0, 10), (10, 20), (20, 30), (30, 40), call=call, severity=severity, detail=detail)
    assert len(run_checks(case, [says(said, stretches((10, 20), line=1))]).findings) == 5


@pytest.mark.parametrize(("worst", "value"), [("min", -3.0), ("max", 5.0), ("", 1.0)])
def test_the_worst_value_stands_for_the_row_with_its_limit(case, worst, value):
    values, limits = np.array([1.0, -3.0, 5.0]), np.array([10.0, 20.0, 30.0])
    said = stretches((0, 10), (10, 20), (20, 30), value=values, limit=limits, probability=np.array([0.5, 0.9, np.nan]))
    found = run_checks(case, [says(said, worst=worst)]).findings
    assert found.value.tolist() == [value] and found.limit[0] == limits[values == value][0]
    assert found.probability.tolist() == [0.9]


def test_an_unknown_value_is_never_the_worst(case):
    said = stretches((0, 10), (10, 20), value=np.array([np.nan, 2.0]))
    for worst in ("min", "max"):
        assert run_checks(case, [says(said, worst=worst)]).findings.value.tolist() == [2.0]


def test_places_are_never_merged(case):
    places = Places(np.array([0, 0]), np.array([10.0, 10.0]), np.zeros((2, 2)))
    found = run_checks(case, [says(places)]).findings
    assert found.place.tolist() == [True, True] and found.from_m.tolist() == found.to_m.tolist() == [10, 10]


def test_rows_name_the_drain_of_their_line(case):
    nowhere = Places(np.array([-1]), np.array([np.nan]), np.zeros((1, 2)), drain=np.array([1]))
    found = run_checks(case, [says(stretches((0, 5), line=1), nowhere)]).findings
    assert case.drains.drain_id[found.drain].tolist() == ["L", "L"] and found.line.tolist() == [1, -1]


def test_a_check_that_crashes_is_listed_and_the_others_go_on(case):
    before, after = says(stretches((0, 5)), id="a-b"), says(stretches((0, 5)), NotChecked("No."), id="c-d")
    results = run_checks(case, [before, breaks(after=[stretches((0, 9)), NotChecked("Half.")]), after])
    (crashed,) = results.crashed
    assert crashed.check.id == "broken" and crashed.error == "ZeroDivisionError: by nothing"
    assert "raise ZeroDivisionError" in crashed.trace
    assert [results.findings.checks[k].id for k in results.findings.check] == ["a-b", "c-d"]
    assert [one.why for one in results.not_checked] == ["No."]


def test_a_row_that_does_not_fit_is_a_crash_too(case):
    results = run_checks(case, [says(stretches((0, 5), value=np.zeros(3)))])
    assert len(results.crashed) == 1 and not len(results.findings)


def test_one_reason_is_one_entry_and_all_drains_are_none_in_particular(case):
    main = NotChecked("Why.", np.array([0]))
    (entry,) = run_checks(case, [says(main, main, NotChecked("Not at all.", np.array([])))]).not_checked
    assert entry.why == "Why." and entry.drain.tolist() == [0]
    both = NotChecked("Why.", np.array([1, 0, 0]))
    assert [one.drain for one in run_checks(case, [says(both)]).not_checked] == [None]
    assert [one.drain for one in run_checks(case, [says(main, NotChecked("Why."))]).not_checked] == [None]


def test_it_stops_when_told_to(case):
    done = []
    with pytest.raises(CanceledError):
        run_checks(case, CHECKS, done.append, lambda: len(done) == 3)
    assert done == [k / len(CHECKS) for k in (1, 2, 3)]


def test_the_findings_of_one_check_can_be_had(case):
    results = run_checks(case, CHECKS)
    assert len(results.findings.of("unknown-elevation")) == 2
    assert len(run_checks(case, [CHECK["loop"]]).findings.of("unknown-elevation")) == 0


def test_no_checks_at_all_find_nothing(case):
    results = run_checks(case, [])
    assert not len(results.findings) and not results.not_checked and not results.crashed
