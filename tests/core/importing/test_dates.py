"""Days as people write them."""

import datetime

import numpy as np
import pytest
from fallkeeper.plugin.importing.dates import parse_date, read_dates
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize(
    "text",
    ["2019-10-05", "2019/10/5", "20191005", "20191005.0", "5-Oct-2019", "5 October 2019", "Oct 5, 2019",
     "October 5 2019", "05.10.2019", "2019-10-05T14:03:00Z", "2019-10-05 14:03", "2019/10/05 14:03:00+00"],
)  # fmt: skip
def test_a_day(text):
    assert parse_date(text.replace("+00", "")) == datetime.date(2019, 10, 5)


@pytest.mark.parametrize(
    "text", ["1998", "May 1998", "10/1998", "last fall", "43743", "2019-13-05", "31/31/2019", "85"]
)
def test_a_year_a_month_or_a_wish_is_no_day(text):
    assert parse_date(text) is None


def test_swapped_days_and_months_are_read_only_where_the_column_decides():
    undecided = read_dates(np.array(["3/4/2020", "5/6/2020"], dtype=object))
    assert undecided.undecided
    assert list(undecided.unread) == [True, True]
    decided = read_dates(np.array(["3/4/2020", "25/6/2020"], dtype=object))
    assert (decided.order, decided.undecided, list(decided.iso)) == ("dmy", False, ["2020-04-03", "2020-06-25"])
    both = read_dates(np.array(["3/4/2020", "25/6/2020", "6/25/2020"], dtype=object))
    assert both.undecided
    assert list(both.iso) == [None, "2020-06-25", "2020-06-25"]
    told = read_dates(np.array(["3/4/2020", None, "0000-00-00", "soon"], dtype=object), "mdy")
    assert list(told.iso) == ["2020-03-04", None, None, None]
    assert list(told.unread) == [False, False, False, True]


@given(st.dates(datetime.date(1900, 1, 1), datetime.date(2099, 12, 31)), st.sampled_from(["mdy", "dmy"]))
def test_every_day_is_read_back(day, order):
    written = f"{day.month}/{day.day}/{day.year}" if order == "mdy" else f"{day.day}/{day.month}/{day.year}"
    assert parse_date(written, order) == parse_date(day.isoformat()) == parse_date(f"{day:%Y%m%d}")
    assert parse_date(written, order) == day


@given(st.text(max_size=20))
def test_no_text_breaks_the_reading(text):
    assert parse_date(text) is None or isinstance(parse_date(text), datetime.date)
