"""Longitudes and latitudes as lists of points have them."""

import numpy as np
import pytest
from fallkeeper.plugin.importing.degrees import read_degrees
from hypothesis import given
from hypothesis import strategies as st


def read(*texts):
    return read_degrees(np.array(texts, dtype=object)).tolist()


@pytest.mark.parametrize(("text", "wanted"), [
    ("41.8614222", 41.8614222), ("-82.0172836", -82.0172836), ("82.0172836 W", -82.0172836), ("S 12.5", -12.5),
    ("41\u00b051'41.12\"N", 41 + 51 / 60 + 41.12 / 3600), ("82\u00b001'02.22\" W", -(82 + 1 / 60 + 2.22 / 3600)),
    ("41 51 43.12 N", 41 + 51 / 60 + 43.12 / 3600), ("W 82:01:02.5", -(82 + 1 / 60 + 2.5 / 3600)),
    ("41 51.685", 41 + 51.685 / 60), ("N41\u00b051.685'", 41 + 51.685 / 60), ("-82\u00b030'", -82.5),
    ("41\u00b051\u203241\u2033", 41 + 51 / 60 + 41 / 3600),
])  # fmt: skip
def test_degrees(text, wanted):
    assert read(text) == [pytest.approx(wanted, abs=1e-12)]


@pytest.mark.parametrize("text", ["41 61 10", "41 10 60", "41.5 30", "41 30.5 10", "north", "", "41 51 43 12", "N/A"])
def test_what_is_no_degrees_is_not_read(text):
    assert np.isnan(read(text)).all()


def test_numbers_and_decimal_commas():
    assert read_degrees(np.array([1.5, np.nan])).tolist()[0] == 1.5
    assert read("41,861", "41,8612", "41,86") == [41.861, 41.8612, 41.86]
    assert np.isnan(read_degrees(np.array([None, "x"], dtype=object))).all()


@given(st.integers(0, 179), st.integers(0, 59), st.integers(0, 59999), st.sampled_from("NESW"))
def test_every_place_is_read_back(degrees, minutes, thousandths, side):
    seconds = thousandths / 1000
    wanted = (degrees + minutes / 60 + seconds / 3600) * (-1 if side in "SW" else 1)
    assert read(f"{degrees}\u00b0{minutes:02d}'{seconds:06.3f}\"{side}") == [pytest.approx(wanted, abs=1e-9)]


@given(st.text(max_size=20))
def test_no_text_breaks_the_reading(text):
    assert len(read(text)) == 1
