import numpy as np
import pandas as pd
import pytest
from fallkeeper.plugin.report.markup import NONE, escape, is_known, plural, show_number, show_probability


def test_escape_leaves_no_tag_no_quote_and_no_character_that_xml_forbids():
    assert escape("<script>\"a\" & 'b'\x00\ud800") == "&lt;script&gt;&quot;a&quot; &amp; &#x27;b&#x27;\ufffd\ufffd"


@pytest.mark.parametrize("value", [None, float("nan"), np.nan, pd.NA, pd.NaT, "", "  "])
def test_unknown_is_known_as_unknown(value):
    assert not is_known(value)


@pytest.mark.parametrize("value", [0, 0.0, "0", np.float64(1), False])
def test_zero_is_a_figure(value):
    assert is_known(value)


def test_numbers_carry_their_unit_and_unknown_is_a_dash():
    assert show_number(-0.02577, "%") == "\u22120.026 %"
    assert show_number(12700, "ft") == "12,700.00 ft"
    assert show_number(1.714, "") == "1.71"
    assert show_number(-0.0001, "ft") == "0.00 ft"
    assert show_number(None, "ft") == show_number(float("inf"), "ft") == NONE


def test_a_probability_is_never_rounded_to_certainty():
    assert show_probability(0.998) == "99.8 %"
    assert show_probability(0.99999) == "over 99.9 %"
    assert show_probability(0.0002) == "under 0.1 %"
    assert show_probability(float("nan")) == NONE


def test_plural():
    assert plural(1, "drain") == "1 drain"
    assert plural(12700, "drain") == "12,700 drains"
    assert plural(0, "stretch", "stretches") == "0 stretches"
