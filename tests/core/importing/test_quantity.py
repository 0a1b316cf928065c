"""Figures as people write them."""

import numpy as np
import pytest
from fallkeeper.plugin.importing.quantity import decimal_sign, parse_number, parse_quantity, read_figures
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize(
    ("text", "value", "unit", "rest"),
    [
        ('4"', 4, "in", ""),
        ("4''", 4, "in", ""),
        ("4 in", 4, "in", ""),
        ("4in.", 4, "in", ""),
        ("4 inch perforated", 4, "in", "perforated"),
        ("100 mm", 100, "mm", ""),
        ("100mm", 100, "mm", ""),
        ("DN100", 100, "mm", ""),
        ("dia. 6", 6, "", ""),
        ("\u00f8 110 mm", 110, "mm", ""),
        ("4", 4, "", ""),
        ("4.0", 4, "", ""),
        ("4,5", 4.5, "", ""),
        ("3-1/2\"", 3.5, "in", ""),
        ("4 1/2", 4.5, "", ""),
        ("4\u00bd in", 4.5, "in", ""),
        ("1/2 m", 0.5, "m", ""),
        ("3'6\"", 3.5, "ft", ""),
        ("3'-6\"", 3.5, "ft", ""),
        ("3 ft 6 in", 3.5, "ft", ""),
        ("3' 6 1/2\"", 3 + 6.5 / 12, "ft", ""),
        ("3.5'", 3.5, "ft", ""),
        ("3.5 ft.", 3.5, "ft", ""),
        ("50 us-ft", 50, "us-ft", ""),
        ("50 US survey feet", 50, "us-ft", ""),
        ("1.2 m deep", 1.2, "m", "deep"),
        ("120 cm", 120, "cm", ""),
        ("-2.5", -2.5, "", ""),
        ("1e3", 1000, "", ""),
        (".75", 0.75, "", ""),
        ("1,234.5", 1234.5, "", ""),
        ("1.234,5", 1234.5, "", ""),
        ('15" DW', 15, "in", "DW"),
    ],
)
def test_a_figure_with_its_unit(text, value, unit, rest):
    read = parse_quantity(text)
    assert read is not None
    assert (read.value, read.unit, read.rest) == (pytest.approx(value), unit, rest)


@pytest.mark.parametrize("text", ["", "four", "?", "n/a", "3-4 ft", "3 to 4", "4x200", "1/0", "..", "1,2,3", "A4"])
def test_what_is_no_figure_is_not_read(text):
    assert parse_quantity(text) is None


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [("1,250", ".", 1250), ("1,250", ",", 1.25), ("1,250", "", None), ("1,25", "", 1.25), ("0,250", "", 0.25),
     ("12,345,678", "", 12345678), ("1.250.000", "", 1250000), ("1.25.3", "", None)],
)
def test_a_comma_that_can_mean_two_things_is_read_only_where_the_column_decides(text, decimal, value):
    assert parse_number(text, decimal) == value


def test_the_column_shows_its_decimal_sign():
    assert decimal_sign(["1,250", "3,5"]) == ","
    assert decimal_sign(["1,250.5", "3"]) == "."
    assert decimal_sign(["1,250", "7"]) == ""


def test_a_column_of_text():
    read = read_figures(np.array(['4"', " ", None, "four", "100 mm", "-9999", "n/a", '6" clay'], dtype=object))
    np.testing.assert_array_equal(read.value, [4, np.nan, np.nan, np.nan, 100, np.nan, np.nan, 6])
    assert list(read.unit) == ["in", "", "", "", "mm", "", "", "in"]
    assert list(read.unread) == [False, False, False, True, False, False, False, False]
    assert list(read.missing) == [False] * 5 + [True, False, False]
    assert read.rest[7] == "clay"


def test_a_column_of_numbers():
    read = read_figures(np.array([4.0, np.nan, -9999.0, np.inf, 0.0]))
    np.testing.assert_array_equal(read.value, [4, np.nan, np.nan, np.nan, 0])
    assert list(read.missing) == [False, False, True, True, False]


UNITS = {"in": ('"', " in", "in.", " inches"), "ft": ("'", " ft", " feet"), "mm": (" mm", "mm"), "m": (" m", "m")}


@given(
    st.floats(0.01, 9999).map(lambda value: round(value, 3)),
    st.sampled_from([(unit, word) for unit, words in UNITS.items() for word in words]),
    st.sampled_from(["", " ", "  "]),
)
def test_every_number_is_read_back_with_its_unit(value, unit_and_word, blank):
    unit, word = unit_and_word
    read = parse_quantity(f"{blank}{value!r}{word}{blank}")
    assert (read.value, read.unit, read.rest) == (value, unit, "")


@given(st.text(max_size=30))
def test_no_text_breaks_the_reading(text):
    read = parse_quantity(text)
    assert read is None or np.isfinite(read.value) or "e" in text.lower()


@given(st.floats(-1e5, 1e5).map(lambda value: round(value, 4)))
def test_decimal_comma_and_point_say_the_same(value):
    text = f"{value:.4f}"
    assert parse_number(text.replace(".", ","), ",") == parse_number(text, ".") == value
