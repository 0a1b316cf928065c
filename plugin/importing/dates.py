"""Days as people write them. A year or a month alone is no day, and 3/4/2020 is one only where the column decides."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

YEAR_FIRST, MONTH_FIRST, DAY_FIRST = "ymd", "mdy", "dmy"
ORDERS = (YEAR_FIRST, MONTH_FIRST, DAY_FIRST)

_TIME = r"(?:[T ,]+\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*(?:[ap]\.?m\.?)?\s*(?:Z|[+-]\d{2}:?\d{2})?)?"
_ISO = re.compile(rf"^(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}}){_TIME}$", re.IGNORECASE)
_PACKED = re.compile(r"^((?:19|20)\d{2})(\d{2})(\d{2})(?:\.0)?$")
_THREE = re.compile(rf"^(\d{{1,2}})([-/.])(\d{{1,2}})\2(\d{{4}}){_TIME}$", re.IGNORECASE)
_WORDS = re.compile(
    rf"^(?:(\d{{1,2}})\.?[- ]+([a-z]{{3,9}})\.?|([a-z]{{3,9}})\.?[- ]+(\d{{1,2}})),?[- ]+(\d{{4}}){_TIME}$",
    re.IGNORECASE,
)
_MONTHS = {name: number for number, name in enumerate(
    ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), 1)}  # fmt: skip
_UNKNOWN = re.compile(r"^(0+([-/.]0+){0,2}|-+|\?+|n/?a|nan|nat|none|null|unknown|unk|tbd)$", re.IGNORECASE)


@dataclass(frozen=True)
class Dates:
    """Days as ISO text, None where unknown. `unread`: there is text that is no day, or one nobody can be sure of.

    `order` is the order in which 3/4/2020 was read, "" where no value needed one; `undecided`: values need an
    order and nothing tells it.
    """

    iso: np.ndarray
    unread: np.ndarray
    order: str
    undecided: bool


def read_dates(values: np.ndarray, order: str = "") -> Dates:
    """Days of a column of text; `order` ("mdy", "dmy") is taken where a day and a month could be swapped."""
    code, words = pd.factorize(np.asarray(values, dtype=object))
    texts = [str(word).strip() for word in words]
    shown = order or _order_shown(texts)
    read = [None if _UNKNOWN.match(text) else parse_date(text, shown) for text in texts]
    iso = np.array([None if day is None else day.isoformat() for day in read] + [None], dtype=object)
    unread = np.array(
        [day is None and bool(text) and not _UNKNOWN.match(text) for day, text in zip(read, texts)] + [False]
    )
    needed = [text for text in texts if _needs_order(text)]
    return Dates(iso[code], unread[code], shown if needed else "", bool(needed) and not shown)


def parse_date(text: str, order: str = "") -> datetime.date | None:
    """One day; None where the text is no day, names none (1998, May 1998) or can be read in two ways."""
    text = text.strip()
    found = _ISO.match(text) or _PACKED.match(text)
    if found:
        return _day(*found.groups())
    found = _THREE.match(text)
    if found:
        first, sign, second, year = found.groups()
        if order not in (MONTH_FIRST, DAY_FIRST):
            if sign == ".":
                order = DAY_FIRST
            elif int(first) == int(second):
                order = MONTH_FIRST
            else:
                order = DAY_FIRST if int(first) > 12 else MONTH_FIRST if int(second) > 12 else ""
        if not order:
            return None
        return _day(year, first, second) if order == MONTH_FIRST else _day(year, second, first)
    found = _WORDS.match(text)
    if found:
        day, month = (found[1], found[2]) if found[1] else (found[4], found[3])
        number = _MONTHS.get(month[:3].lower())
        return _day(found[5], number, day) if number else None
    return None


def _day(year: object, month: object, day: object) -> datetime.date | None:
    try:
        return datetime.date(int(year), int(month), int(day))  # type: ignore[call-overload]
    except ValueError:
        return None


def _needs_order(text: str) -> bool:
    found = _THREE.match(text)
    return bool(found and found[2] != "." and int(found[1]) <= 12 and int(found[3]) <= 12 and found[1] != found[3])


def _order_shown(texts: list[str]) -> str:
    """The order that values like 25/4/2020 or 4/25/2020 show; "" where none or both are there."""
    shown = set()
    for text in texts:
        found = _THREE.match(text)
        if found and found[2] != ".":
            first, second = int(found[1]), int(found[3])
            shown |= {DAY_FIRST} if 12 < first <= 31 >= second else set()
            shown |= {MONTH_FIRST} if 12 < second <= 31 >= first else set()
    return shown.pop() if len(shown) == 1 else ""
