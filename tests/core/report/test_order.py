import numpy as np
from fallkeeper.plugin.checks.case import Case
from fallkeeper.plugin.checks.declare import NotChecked, Places, Severity, Stretches
from fallkeeper.plugin.checks.run import run_checks
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.report.order import count_severities, group_findings, missed_checks, worst_first
from report_samples import check, county_of_two

SERIOUS, DOUBT, NOTE = Severity.SERIOUS, Severity.DOUBT, Severity.NOTE


def results_of(*checks):
    return run_checks(Case(county_of_two()), checks)


def says(*said, **declared):
    return check(function=lambda case: iter(said), **declared)


def stretches(count, **figures):
    from_m = 10.0 * np.arange(count)
    return Stretches(np.zeros(count, dtype=int), from_m, from_m + 5, **figures)


def test_by_severity_then_probability_then_size_against_the_limit():
    said = stretches(
        6,
        value=np.array([1.0, 1.0, 1.9, 0.1, 1.0, np.nan]),
        limit=2.0,
        probability=np.array([0.7, 0.99, 0.99, 0.99, 0.2, 0.99]),
        severity=np.array([DOUBT, DOUBT, DOUBT, DOUBT, SERIOUS, DOUBT], dtype=object),
    )
    findings = results_of(says(said, worst="min")).findings
    shown = findings.where(worst_first(findings))
    assert np.allclose(shown.from_m, [40, 30, 10, 20, 50, 0])  # a small value is worse; none at all comes last


def test_the_larger_value_is_worse_where_the_check_says_so_and_none_counts_as_sure():
    said = stretches(3, value=np.array([3.0, 5.0, 4.0]), limit=2.0, probability=np.array([np.nan, np.nan, 0.5]))
    findings = results_of(says(said, worst="max")).findings
    assert list(findings.value[worst_first(findings)]) == [5.0, 3.0, 4.0]


def test_groups_come_by_their_worst_severity_then_as_declared():
    note = says(stretches(3), id="a-note", severity=NOTE)
    doubt = says(stretches(2), id="b-doubt", severity=DOUBT)
    mixed = says(stretches(2, severity=np.array([NOTE, SERIOUS], dtype=object)), id="c-mixed", severity=NOTE)
    other = says(stretches(1), id="d-doubt", severity=DOUBT)
    results = results_of(note, doubt, mixed, other)
    groups = group_findings(results.findings, county_of_two().network, Limits())
    assert [group.check.id for group in groups] == ["c-mixed", "b-doubt", "d-doubt", "a-note"]
    assert groups[0].severities == ((SERIOUS, 1), (NOTE, 1)) and groups[0].rows[0].severity == SERIOUS


def test_a_long_group_keeps_its_worst_rows_and_its_number():
    findings = results_of(says(stretches(412, value=np.arange(412.0), limit=1.0), worst="max")).findings
    (group,) = group_findings(findings, county_of_two().network, Limits())
    assert len(group.rows) == 20 and group.total == 412 and group.drain_count == 1
    assert [row.value for row in group.rows[:2]] == [411.0, 410.0]
    assert group.layers == ("LINE_FINDINGS",)


def test_rows_have_names_and_stations_and_places_on_no_drain_have_coordinates():
    on_pipe = Stretches(np.array([1]), np.array([10.0]), np.array([20.0]), detail="a fact")
    nowhere = Places(np.array([-1]), np.array([np.nan]), np.array([[5.0, 6.0]]))
    (group,) = group_findings(results_of(says(on_pipe, nowhere)).findings, county_of_two().network, Limits())
    first, second = group.rows
    assert (first.name, first.drain_id, first.from_m, first.to_m, first.detail) == ("F1-01", "L1", 10, 20, "a fact")
    assert second.name == "" and np.isnan(second.from_m) and second.xy_m == (5, 6)
    assert group.layers == ("LINE_FINDINGS", "POINT_FINDINGS") and group.drain_count == 1


def test_limits_and_figures_go_with_their_check():
    one = says(stretches(1), limits=("least_cover",))
    figures = {"some-check": ("a figure",)}
    (group,) = group_findings(results_of(one).findings, county_of_two().network, Limits(), figures)
    assert [limit.name for limit in group.limits] == ["least_cover"] and group.figures == ("a figure",)


def test_severities_are_counted_with_their_drains_and_nothing_found_counts_zero():
    both = Stretches(np.array([0, 1, 1]), np.array([0.0, 0, 20]), np.array([5.0, 5, 25]))
    counts = count_severities(results_of(says(both)).findings)
    told = [(one.severity, one.findings, one.drains) for one in counts]
    assert told == [(SERIOUS, 3, 2), (DOUBT, 0, 0), (NOTE, 0, 0)]
    assert not group_findings(results_of().findings, county_of_two().network, Limits())


def test_what_was_not_checked_is_one_entry_a_reason():
    some = says(NotChecked("No elevation.", np.array([1])), NotChecked("No elevation.", np.array([1])), id="a-b")
    whole = says(NotChecked("No land layer was given."), id="c-d", title="Under a lot")
    network = county_of_two().network
    first, second = missed_checks(results_of(some, whole).not_checked, network.drains)
    assert (first.why, first.drain_count, first.examples) == ("No elevation.", 1, ("F1-01",))
    assert (second.title, second.drain_count, second.examples) == ("Under a lot", None, ())
