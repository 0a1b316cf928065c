"""Lengths as a crew writes them."""

import math

import pytest
from fallkeeper.plugin.length_text import read_length_m, show_feet_and_inches
from fallkeeper.plugin.units import FOOT_M, METRIC, US, US_SURVEY_FOOT_M, Units
from hypothesis import given
from hypothesis import strategies as st

FEET, METRES = Units(US), Units(METRIC)


@pytest.mark.parametrize(("text", "feet"), [
    ("3' 4\"", 3 + 4 / 12), ("3'4\"", 3 + 4 / 12), ("3\u2032 4\u2033", 3 + 4 / 12), ("3\u2019 4\u201d", 3 + 4 / 12),
    ("3' 4''", 3 + 4 / 12), ("3'4", 3 + 4 / 12), ("3 ft 4 in", 3 + 4 / 12), ("3FT 4IN.", 3 + 4 / 12), ("3 feet", 3.0),
    ("1 foot 1 inch", 13 / 12), ("3'-4\"", 3 + 4 / 12), ("3' 4 1/2\"", 3 + 4.5 / 12), ("40 in", 40 / 12),
    ("40-1/2\"", 40.5 / 12), ("1/2 in", 0.5 / 12), ("3.33", 3.33), ("3.33 ft", 3.33), (".5", 0.5), ("0", 0.0),
    ("3.33'", 3.33), ("3' 0\"", 3.0),
])
def test_feet_and_inches(text, feet):
    assert read_length_m(text, FEET) == pytest.approx(feet * FOOT_M, rel=1e-12)


@pytest.mark.parametrize(("text", "metres"), [
    ("1.02", 1.02), ("1.02 m", 1.02), ("102 cm", 1.02), ("1020mm", 1.02), ("3' 4\"", 40 * 0.0254), ("40 in", 1.016),
])
def test_metres_and_what_is_no_metre(text, metres):
    assert read_length_m(text, METRES) == pytest.approx(metres, rel=1e-12)


def test_metres_are_metres_in_an_archive_in_feet_too():
    assert read_length_m("1.02 m", FEET) == pytest.approx(1.02)


def test_the_foot_is_that_of_the_archive():
    survey = Units(US, US_SURVEY_FOOT_M)
    assert read_length_m("3' 4\"", survey) / survey.length_m == pytest.approx(10 / 3, rel=1e-15)


def test_nothing_is_unknown():
    assert math.isnan(read_length_m("  ", FEET))


@pytest.mark.parametrize(("text", "said"), [
    ("3 4", "may mean several things"), ("3-4", "may mean several things"), ("about 3", "may mean several things"),
    ("3' 4' ", "may mean several things"), ("3,4", "comma"), ("1,000", "comma"), ("-3", "negative"),
    ("3' 14\"", "14 inches beside feet"), ("3.5' 4\"", "write one of them"), ("1/0 in", "divides by nothing"),
    ("nan", "may mean"), ("inf", "may mean"), ("3e2", "may mean"), ("4 1/2", "may mean"), ("3 yd", "may mean"),
])
def test_what_may_mean_two_things_is_refused_with_a_sentence(text, said):
    with pytest.raises(ValueError, match=said) as refused:
        read_length_m(text, FEET)
    assert text.strip() in str(refused.value)


@given(st.integers(0, 20), st.integers(0, 23))
def test_what_is_shown_is_read_again(feet, half_inches):
    length_m = (feet + half_inches / 24) * FOOT_M
    assert read_length_m(show_feet_and_inches(length_m), FEET) == pytest.approx(length_m, abs=1e-9)


@given(st.text(max_size=12))
def test_any_text_is_a_length_unknown_or_a_sentence(text):
    try:
        length_m = read_length_m(text, FEET)
    except ValueError as refused:
        assert "write" in str(refused) or "which is meant" in str(refused)
    else:
        assert math.isnan(length_m) == (not text.strip()) or length_m >= 0.0
