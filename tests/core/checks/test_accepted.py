"""Which findings a table of accepted ones covers, and when they come back. Figures in feet."""

import time
from dataclasses import replace

import builders as b
import numpy as np
import pytest
from cases import CHECK, case_of, results_of
from fallkeeper.plugin.answers.accept import rows_to_accept
from fallkeeper.plugin.checks.accepted import LONGER, MORE, OTHER, WORSE, AcceptedRows, judge_accepted
from fallkeeper.plugin.checks.run import Findings
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.report.accepted_words import accepted_words, said_standing, told
from fallkeeper.plugin.units import Units
from hypothesis import given, settings
from hypothesis import strategies as st

US = Units("us")
WHO = {"reason": "dry for years", "accepted_by": "A. Ames", "accepted_on": "2026-03-01T10:20:00"}


def farm(tree_at=30, grade_ft=0.0, size=4.0):
    """A main with a willow beside it, and a lateral of 6 in that runs into its 4 in."""
    return case_of(
        b.main("M", (0, 0), (0, 400), openings="perforated", diameter=size),
        b.lateral("L", (300, 300), (0, 300), diameter=6.0),
        outlets=(b.outlet(0, 0), b.outlet(9000, 9000, "far")),
        trees=(b.tree("T", (tree_at, 100), thirst="high", name="Willow"),),
    )


def standing_of(case, rows, findings=None):
    findings = results_of(case).findings if findings is None else findings
    return findings, judge_accepted(findings, case.network, AcceptedRows.of(rows, case.units), case.limits, case.units)


def accept_all(case, *check_ids):
    findings = results_of(case, *check_ids).findings
    return [{**row, **WHO} for row in rows_to_accept(case, findings, range(len(findings)))]


def row_of(check, drain_id="M", at=(None, None), value=None, **more):
    return {"check": check, "drain_id": drain_id, "station_from": at[0], "station_to": at[1], "value": value, **WHO,
            **more}


def of_check(case, rows, check):
    """What stands to the only finding of a check, and what is said of it."""
    findings, standing = standing_of(case, rows, results_of(case, check).findings)
    assert len(findings) == 1
    said = said_standing(case.county, findings, standing, 0)
    return ("accepted" if standing.accepted[0] else "back" if standing.returned[0] else "open"), said


def test_nothing_accepted_leaves_all_open():
    findings, standing = standing_of(farm(), [])
    assert len(findings) and not standing.accepted.any() and not standing.returned.any()
    assert told(farm().county, findings, standing) is findings


def test_a_row_says_check_drain_stations_and_value_in_units_of_the_archive():
    (row,) = rows_to_accept(farm(), results_of(farm(), "near-trees").findings, [0])
    assert (row["check"], row["drain_id"], row["value"]) == ("near-trees", "M", 30.0)
    assert (row["station_from"], row["station_to"]) == pytest.approx((4.6, 195.4), abs=0.05)
    metric = replace(farm(), county=replace(farm().county, units=Units("metric")))
    (row,) = rows_to_accept(metric, results_of(metric, "near-trees").findings, [0])
    assert (row["station_to"], row["value"]) == pytest.approx((59.56, 9.144), abs=0.01)


def test_accepted_as_it_is_found():
    case = farm()
    is_, said = of_check(case, accept_all(case, "near-trees"), "near-trees")
    assert (is_, said) == ("accepted", "accepted on 2026-03-01 by A. Ames: 'dry for years'")
    for other in ("deep-trench", "smaller-downstream"):
        assert of_check(case, [{**accept_all(case, "near-trees")[0], "check": other}], "near-trees")[0] == "open"
    assert of_check(case, [{**accept_all(case, "near-trees")[0], "drain_id": "L"}], "near-trees")[0] == "open"


@pytest.mark.parametrize(("at", "value", "is_"), [
    ((0, 200), 30.0, "accepted"), ((100, 110), 30.0, "back"), ((195.0, 300), 30.0, "back"),
    ((195.4, 300), 30.0, "open"),
    ((200, 300), 30.0, "open"), ((None, None), 30.0, "accepted"), ((200, 0), 30.0, "accepted"),
    ((0, 200), 33.0, "accepted"), ((0, 200), 33.4, "back"), ((0, 200), 5.0, "accepted"), ((0, 200), None, "back"),
    ((20.9, 179.1), 30.0, "accepted"), ((21.1, 180), 30.0, "back"), ((20, 178.9), 30.0, "back"),
])
def test_by_stations_and_value(at, value, is_):
    """The willow is 30 ft off, which is worse the nearer it is; the stretch reaches from 4.6 to 195.4 ft."""
    assert of_check(farm(), [row_of("near-trees", at=at, value=value)], "near-trees")[0] == is_


def test_it_says_why_it_came_back():
    was, now = farm(tree_at=60), farm(tree_at=30)
    is_, said = of_check(now, accept_all(was, "near-trees"), "near-trees")
    assert is_ == "back" and said == (
        "accepted on 2026-03-01 by A. Ames: 'dry for years', but it is now 30.00 ft where 60.00 ft was accepted"
    )
    said = of_check(now, [row_of("near-trees", at=(100, 110), value=30.0)], "near-trees")[1]
    assert said.endswith("but it reaches 0+04.6 to 1+95.4 now where 1+00 to 1+10 was accepted")
    said = of_check(now, [row_of("near-trees", at=(0, 200), accepted_by=None, reason=" ")], "near-trees")[1]
    assert said == (
        "accepted on 2026-03-01: no reason is written, but it is now 30.00 ft where no figure was accepted"
    )


@pytest.mark.parametrize(("station", "is_"), [(203.0, "accepted"), (196.8, "accepted"), (203.5, "open")])
def test_a_place_moves_a_little(station, is_):
    """1 m is 3.28 ft."""
    case = case_of(b.main("M", (0, 0), (0, 400)), b.main("X", (-200, 200), (200, 200)), outlets=(b.outlet(0, 0),))
    (row,) = rows_to_accept(case, results_of(case, "crossing-not-joined").findings, [0])
    assert row["station_from"] == row["station_to"] == 200.0
    assert of_check(case, [row_of("crossing-not-joined", row["drain_id"], (station, station))], row["check"])[0] == is_


def test_findings_of_no_drain_come_back_when_there_are_more_of_them():
    one = farm()
    findings, standing = standing_of(one, [row_of("no-outlet", None)], results_of(one, "no-outlet").findings)
    assert findings.drain.tolist() == [-1] and standing.accepted.tolist() == [True]
    outlets = b.outlet(0, 0), b.outlet(9e3, 9e3, "P"), b.outlet(9e3, 0, "Q")
    two = case_of(b.main("M", (0, 0), (0, 400)), outlets=outlets)
    findings, standing = standing_of(two, [row_of("no-outlet", None)], results_of(two, "no-outlet").findings)
    assert standing.is_.tolist() == [MORE, MORE] and standing.returned.all()
    assert said_standing(two.county, findings, standing, 1).endswith("but there are 2 now where 1 was accepted")
    _, standing = standing_of(two, [row_of("no-outlet", None)] * 2, findings)
    assert standing.accepted.all()


def test_of_two_rows_one_that_covers_speaks_then_the_latest():
    old = row_of("near-trees", value=30.0)
    new = {**old, "accepted_on": "2026-04-02", "reason": "new"}
    worse = row_of("near-trees", value=60.0, accepted_on="2026-05-05")
    findings, standing = standing_of(farm(), [new, old, worse], results_of(farm(), "near-trees").findings)
    assert standing.rows.reason[standing.row[0]] == "new" and standing.accepted[0]


def test_what_is_known_now_and_was_not_comes_back_and_the_other_way():
    case = farm()
    findings = results_of(case, "near-trees").findings
    unknown = replace(findings, value=np.array([np.nan]))
    row = row_of("near-trees", value=30.0)
    standing = standing_of(case, [row], unknown)[1]
    assert standing.is_[0] == OTHER and "no figure is known now where 30.00 ft" in said_standing(
        case.county, unknown, standing, 0)
    assert standing_of(case, [row_of("near-trees")], unknown)[1].accepted[0]


def test_the_detail_tells_and_the_column_too():
    now = farm(tree_at=30)
    findings, standing = standing_of(now, [*accept_all(farm(tree_at=60), "near-trees"),
                                          *accept_all(now, "outlet-unguarded", "no-outlet")])
    said = told(now.county, findings, standing)
    (back,) = np.flatnonzero(standing.returned).tolist()
    assert said.detail[back].startswith(findings.detail[back] + ". Accepted on 2026-03-01 by A. Ames")
    words = accepted_words(now.county, findings, standing)
    assert [word is not None for word in words] == standing.accepted.tolist() and standing.accepted.sum() >= 1


CHECKS = ("near-trees", "deep-trench", "smaller-downstream", "no-outlet", "outlet-low", "crossing-not-joined")

found = st.lists(
    st.tuples(st.sampled_from(CHECKS), st.integers(0, 3), st.integers(0, 9), st.booleans(),
              st.one_of(st.just(np.nan), st.floats(-5, 5).map(lambda v: round(v, 3)))),
    max_size=25, unique_by=lambda one: one[:3],
)
NET = case_of(*(b.main(f"D{k}", (1000 * k, 0), (1000 * k, 1000)) for k in range(4)))


def table(rows):
    """Findings of drains 1,000 ft long: stretches or places of 50 ft in each 100 ft."""
    checks = tuple(CHECK[one] for one in CHECKS)
    drain = np.array([row[1] for row in rows], dtype=np.int64)
    from_m = np.array([row[2] * 100.0 for row in rows]) * b.FT
    place = np.array([row[3] for row in rows], dtype=bool)
    size = np.array([US.size_si(CHECK[row[0]].kind) if CHECK[row[0]].kind else 1.0 for row in rows])
    count, nothing = len(rows), np.full(len(rows), np.nan)
    return Findings(
        checks, np.array([CHECKS.index(row[0]) for row in rows], dtype=np.int64), place, drain, drain, from_m,
        from_m + np.where(place, 0.0, 50.0 * b.FT), nothing, nothing, np.array([row[4] for row in rows]) * size,
        nothing, nothing, np.array(["found"] * count, dtype=object),
        np.array([CHECK["near-trees"].severity] * count, dtype=object), np.array([""] * count, dtype=object),
        np.full(count, -1), np.full(count, -1),
    )


@settings(max_examples=80, deadline=None)
@given(rows=found, data=st.data())
def test_all_accepted_leaves_none_open_and_what_is_made_worse_alone_comes_back(rows, data):
    findings = table(rows)
    accepted = [{**row, **WHO} for row in rows_to_accept(NET, findings, range(len(findings)))]
    data.draw(st.randoms(use_true_random=False)).shuffle(accepted)
    for _ in range(2):
        assert standing_of(NET, accepted, findings)[1].accepted.all()
    if not rows:
        return
    one = data.draw(st.integers(0, len(rows) - 1))
    check = findings.checks[findings.check[one]]
    value, to_m = findings.value.copy(), findings.to_m.copy()
    if np.isfinite(value[one]) and data.draw(st.booleans()):
        size = US.size_si(check.kind) if check.kind else 1.0
        value[one] += (0.101 * abs(value[one]) + 0.001 * size) * (-1 if check.worst == "min" else 1)
        why = WORSE
    else:
        to_m[one] += 5.01
        why = LONGER
    findings, standing = standing_of(NET, accepted, replace(findings, value=value, to_m=to_m))
    assert np.flatnonzero(standing.returned).tolist() == [one] and standing.is_[one] == why
    assert standing.accepted.sum() == len(rows) - 1


def test_a_county_takes_no_time():
    """20,000 findings on 50,000 drains, 5,000 rows."""
    random, count = np.random.default_rng(5), 20_000
    ids = np.array([f"drain {k}" for k in range(50_000)], dtype=object)
    network = replace(NET.network, drains=replace(NET.network.drains, drain_id=ids))
    drain = random.integers(0, len(ids), count)
    findings = replace(table([("near-trees", 0, 0, False, 1.0)] * count), drain=drain)
    taken = random.choice(count, 5_000, replace=False)
    rows = [row_of("near-trees", ids[drain[k]], (0.0, 50.0), 1.0) for k in taken.tolist()]
    began = time.process_time()
    standing = judge_accepted(findings, network, AcceptedRows.of(rows, US), Limits(), US)
    spent = time.process_time() - began
    assert standing.accepted[taken].all() and 5_000 <= standing.accepted.sum() < 7_000
    assert spent < 0.6, f"{spent:.2f} s of work; usually 0.1 s"
