"""flat-grade. Published values: least-grade table of ASAE EP260 and state drainage guides (from memory, verified)."""

import builders as b
import pytest
from cases import case_of, found, not_checked, of_drains
from fallkeeper.plugin.limits import Limits

OUTLET = (b.outlet(0, 0),)
FINES = ({"name": "fine_soil", "value": 1},)


def pipe_at(grade_pct, diameter=4.0, error=0.002, material="corrugated_plastic", limits=(), length=1000):
    fall = grade_pct / 100 * length
    return case_of(
        b.main("M", (0, 0), (0, length), diameter=diameter, material=material, invert_start=95.0,
               invert_end=95.0 + fall, invert_error=error),
        outlets=OUTLET, limits=limits,
    )


def limit_of(**pipe):
    return found(pipe_at(0.001, error=1e-4, **pipe), "flat-grade")[0].limit


def test_a_tenth_of_a_percent_keeps_four_inch_pipe_clean():
    assert found(pipe_at(0.10), "flat-grade") == []


@pytest.mark.parametrize(
    ("diameter", "fine_soil", "published_pct"),
    [(3, False, 0.10), (4, False, 0.07), (5, False, 0.05), (6, False, 0.04), (4, True, 0.55), (6, True, 0.32)],
)
def test_limits_are_those_published_for_corrugated_pipe(diameter, fine_soil, published_pct):
    limits = FINES if fine_soil else ()
    assert limit_of(diameter=diameter, limits=limits) == pytest.approx(published_pct, abs=0.0075)


def test_a_flatter_pipe_is_found_with_its_grade_and_the_limit():
    (row,) = found(pipe_at(0.03), "flat-grade")
    assert row.value == pytest.approx(0.03) and row.limit == pytest.approx(0.070, abs=5e-4) and row.unit == "%"
    assert (row.call, row.severity, row.at) == ("found", "doubt", (0, 1000)) and row.probability > 0.95


def test_a_grade_near_the_limit_cannot_be_told():
    (row,) = found(pipe_at(0.07, error=0.05), "flat-grade")
    assert (row.call, row.severity) == ("cannot_tell", "note") and 0.05 < row.probability < 0.95


def test_pipe_that_may_rise_is_left_to_reverse_grade():
    case = pipe_at(0.01, error=0.2)
    assert found(case, "flat-grade") == [] and found(case, "reverse-grade")[0].call == "cannot_tell"


def test_without_a_diameter_there_is_no_limit():
    case = pipe_at(0.03, diameter=None)
    assert found(case, "flat-grade") == [] and of_drains(case, "flat-grade", "diameter") is None


def test_without_inverts_it_is_not_checked():
    case = case_of(b.main("M", (0, 0), (0, 100), diameter=4), outlets=OUTLET)
    assert found(case, "flat-grade") == [] and list(not_checked(case, "flat-grade").values()) == [None]


def test_the_source_names_the_limits():
    row = found(pipe_at(0.03), "flat-grade")[0]
    assert Limits().of("least_velocity").source in row.source
