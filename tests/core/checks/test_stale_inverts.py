"""stale-inverts: a clean case, moved, turned and cut ends with their distance, and what nobody can know."""

from dataclasses import replace

import builders as b
import pytest
from cases import case_of, found, of_drains, results_of
from fallkeeper.plugin.checks.edits import Edits, GivenInvert

KNOWN = frozenset({"K", "M"})


def case(*moved, known=KNOWN, **row):
    rows = (b.main("K", (0, 0), (100, 0), invert_start=100.0, invert_end=99.0, **row),
            b.main("M", (500, 0), (600, 0), invert_start=None, invert_end=None))
    return replace(case_of(*rows), edits=Edits(moved, known))


def given(x, y, at_end=True, invert=99.0, other=(0, 0), split=False, who="Ada"):
    return GivenInvert("K", at_end, (x * b.FT, y * b.FT), (other[0] * b.FT, other[1] * b.FT), invert * b.FT,
                       "2026-05-10", who, split)


def test_clean():
    assert found(case(), "stale-inverts") == []
    assert of_drains(case(), "stale-inverts", "") == set()


def test_an_end_that_moved():
    (row,) = found(case(given(100, 12)), "stale-inverts")
    assert (row.drain_id, row.at, row.place, row.severity) == ("K", (100, 100), True, "doubt")
    assert (row.value, row.limit, row.unit) == (pytest.approx(12.0), pytest.approx(1.0), "ft")


def test_turned_and_cut_are_told_apart():
    turned = (given(0, 0, True, 99.0, (100, 0)), given(100, 0, False, 100.0, (0, 0)))
    assert sorted(row.at for row in found(case(*turned), "stale-inverts")) == [(0, 0), (100, 100)]
    words = details(case(*turned))
    assert all("the line was turned on 2026-05-10 by Ada" in text for text in words)
    assert details(case(given(300, 0, split=True, who=""))) == [
        "end of the line: cut from another line on 2026-05-10, invert still 99.00 ft"]


def details(case):
    return list(results_of(case, "stale-inverts").findings.detail)


def test_within_the_join_tolerance_or_given_anew_since():
    assert found(case(given(100, 0.9)), "stale-inverts") == []
    assert found(case(given(100, 12, invert=98.9)), "stale-inverts") == []


def test_pipe_out_of_use_is_not_asked_about():
    assert found(case(given(100, 12), status="abandoned"), "stale-inverts") == []


def test_no_history_is_not_good():
    without = replace(case(), edits=None)
    assert found(without, "stale-inverts") == []
    assert of_drains(without, "stale-inverts", "in no archive") is None


def test_a_history_that_begins_later():
    """Only drains with an invert can have a stale one."""
    assert of_drains(case(known=frozenset()), "stale-inverts", "begins after this pipe was drawn") == {"K"}
    assert of_drains(case(given(100, 12), known=frozenset()), "stale-inverts", "begins after") == set()
