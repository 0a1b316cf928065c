"""duplicate: the same pipe drawn twice, or one key used twice."""

import builders as b
import numpy as np
import pytest
from cases import case_of, found, results_of

OUTLET = (b.outlet(0, 0),)


def test_pipes_side_by_side_are_clean():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("L", (20, 0), (20, 300)), outlets=OUTLET)
    assert found(case, "duplicate") == []


def test_a_line_drawn_again_carries_nothing_and_names_the_other():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.main("Again", (0.5, 0), (0.5, 300)), outlets=OUTLET)
    (twice,) = found(case, "duplicate")
    assert (twice.drain_id, twice.at) == ("Again", (0, 300))
    assert twice.value == pytest.approx(1.0) and twice.detail == "lies on M; carries nothing"


def test_a_key_used_twice_is_named_for_both_lines():
    case = case_of(b.main("M", (0, 0), (0, 300)), b.lateral("M", (200, 50), (0, 50)), outlets=OUTLET)
    rows = found(case, "duplicate")
    assert [row.detail for row in rows] == ["the key M is used by 2 lines"] * 2
    assert all(np.isnan(row.value) for row in rows)


def test_a_duplicate_has_no_other_findings():
    bad = {"invert_start": 95.0, "invert_end": 94.0}
    case = case_of(
        b.main("M", (0, 0), (0, 300), diameter=6), b.main("Again", (0.5, 0), (0.5, 300), diameter=6, **bad),
        outlets=OUTLET, trees=[b.tree("T", (10, 10))], ground=lambda x, y: 96.0,
    )
    findings = results_of(case).findings
    again = findings.where(case.drains.drain_id[np.maximum(findings.drain, 0)] == "Again")
    assert {findings.checks[k].id for k in again.check} == {"duplicate"}


def test_lines_without_a_key_are_not_one_key():
    case = case_of(b.main(None, (0, 0), (0, 300)), b.lateral(None, (200, 50), (0, 50)), outlets=OUTLET)
    assert found(case, "duplicate") == []
