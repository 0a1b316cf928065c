"""Figures as people write them: 4", 4 in, 100 mm, 3'-6", 4 1/2, 1,25 and plain numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

# unit -> how it is written, in small letters without blanks and points
UNIT_WORDS = {
    "in": ('"', "''", "\u201d", "\u2033", "\u201c", "in", "inch", "inches", "zoll"),
    "ft": ("'", "\u2019", "\u2032", "ft", "foot", "feet", "intft", "ift"),
    "us-ft": ("us-ft", "usft", "ussft", "ftus", "sft", "ussurveyfoot", "ussurveyfeet"),
    "mm": ("mm", "millimeter", "millimeters", "millimetre", "millimetres"),
    "cm": ("cm", "centimeter", "centimeters", "centimetre", "centimetres"),
    "m": ("m", "meter", "meters", "metre", "metres", "mtr"),
}
_UNIT_OF = {word: unit for unit, words in UNIT_WORDS.items() for word in words}

# figures that programs write where they know nothing
_SENTINELS = frozenset((-9999.0, -99999.0, -999.0, -32768.0, -9999.99, -1e30, 1e30, -3.4028234663852886e38))
_VULGAR = {"\u00bd": " 1/2", "\u00bc": " 1/4", "\u00be": " 3/4", "\u215b": " 1/8", "\u215c": " 3/8", "\u215d": " 5/8",
           "\u215e": " 7/8"}  # fmt: skip
_NUMBER = r"[-+]?\d[\d.,]*(?:[eE][-+]?\d+)?|[-+]?[.,]\d+"
_UNIT = "us[- ]?(?:survey )?f(?:ee|oo)?t|" + "|".join(
    re.escape(word) for word in sorted(_UNIT_OF, key=len, reverse=True) if word != "us-ft"
)
_BEFORE = r"(?:(?:dn|\u00f8|dia(?:meter)?|d|size|nominal|nom)(?=[\s.:=]*[\d.,])[\s.:=]*)?"
_ONE = re.compile(
    rf"^\s*(?P<before>{_BEFORE})(?P<number>{_NUMBER})(?P<fraction>(?:[\s-]+\d+)?/\d+|)\s*(?P<unit>{_UNIT})?"
    r"(?![a-z\d/])\.?\s*(?P<rest>.*)$", re.IGNORECASE | re.DOTALL,
)  # fmt: skip
_FEET_AND_INCHES = re.compile(
    r"^\s*(?P<feet>\d+)\s*(?:'|\u2019|\u2032|ft\.?|foot|feet)\s*-?\s*(?P<inches>\d+(?:[.,]\d+)?)?"
    r"(?P<fraction>(?:\s*-?\s*\d+/\d+)?)\s*(?:\"|''|\u201d|\u2033|in(?:ch(?:es)?)?\.?)\s*(?P<rest>.*)$",
    re.IGNORECASE | re.DOTALL,
)  # fmt: skip


@dataclass(frozen=True)
class Quantity:
    """One figure with the unit written beside it ("" where none is) and the words that are left over."""

    value: float
    unit: str = ""
    rest: str = ""


def parse_quantity(text: str, decimal: str = ".") -> Quantity | None:
    """The figure at the start of `text`; None where there is none or it can be read in two ways.

    `decimal` is the decimal sign of the column, "" where it is not known: then 1,250 is not read.
    """
    for sign, written in _VULGAR.items():
        text = text.replace(sign, written)
    feet = _FEET_AND_INCHES.match(text)
    if feet and (feet["inches"] or feet["fraction"].strip()):
        inches = float((feet["inches"] or "0").replace(",", ".")) + _fraction(feet["fraction"])
        return Quantity(float(feet["feet"]) + inches / 12, "ft", feet["rest"].strip())
    found = _ONE.match(text)
    if not found or re.match(r"(-|to\b|bis\b|x\b|/)\s*\d", found["rest"].lower()):
        return None
    value = parse_number(found["number"], decimal)
    if value is None:
        return None
    part = found["fraction"]
    if part.startswith("/"):  # 1/2 alone: the number was its upper half
        if not float(part[1:]):
            return None
        value = value / float(part[1:])
    elif part:
        value += _fraction(part)
    unit = _UNIT_OF.get(re.sub(r"[\s.]", "", (found["unit"] or "").lower()), "")
    if found["unit"] and not unit:
        unit = "us-ft"
    if not unit and found["before"].strip().lower().startswith("dn"):
        unit = "mm"
    return Quantity(value, unit, found["rest"].strip())


def _fraction(text: str) -> float:
    text = text.strip(" -")
    if not text:
        return 0.0
    upper, lower = text.split("/")
    return float(upper) / float(lower) if float(lower) else 0.0


def parse_number(text: str, decimal: str = ".") -> float | None:
    """A number with a decimal point or comma, and signs between thousands; None where it can be read in two ways."""
    body = text.strip().rstrip(".,")
    points, commas = body.count("."), body.count(",")
    if points and commas:
        sign = "." if body.rfind(".") > body.rfind(",") else ","
        if body.count(sign) > 1:
            return None
        body = body.replace("," if sign == "." else ".", "").replace(sign, ".")
    elif commas:
        body = _with_comma(body, commas, decimal)
    elif points > 1:
        body = body.replace(".", "") if re.fullmatch(r"[-+]?\d{1,3}(\.\d{3})+", body) else ""
    try:
        return float(body)
    except ValueError:
        return None


def _with_comma(body: str, commas: int, decimal: str) -> str:
    thousands = re.fullmatch(r"[-+]?[1-9]\d{0,2}(,\d{3})+", body)
    if commas > 1:
        return body.replace(",", "") if thousands else ""
    if thousands and decimal != ",":
        return body.replace(",", "") if decimal == "." else ""
    return body.replace(",", ".")


def decimal_sign(texts: Iterable[str]) -> str:
    """The decimal sign a column shows: "," or ".", "" where no figure in it decides."""
    joined = list(texts)
    comma = sum(bool(re.search(r"\d,(\d{1,2}|\d{4,})(?!\d|,)|,\d+\.|(?<!\d)0,\d", text)) for text in joined)
    mixed = sum(bool(re.search(r"\d,\d{3}\.\d", text)) for text in joined)
    point = sum(bool(re.search(r"\d\.\d", text)) for text in joined)
    if comma - mixed and not point:
        return ","
    return "." if point and not comma - mixed else ""


@dataclass(frozen=True)
class Figures:
    """A column of figures: NaN where unknown; `unit` is the unit written beside each; `rest` the words left over.

    `unread` marks values that are there and are no figure; `missing` those that stand for unknown (-9999).
    """

    value: np.ndarray
    unit: np.ndarray
    rest: np.ndarray
    unread: np.ndarray
    missing: np.ndarray

    @property
    def known(self) -> np.ndarray:
        return ~np.isnan(self.value)


def read_figures(values: np.ndarray, decimal: str = "") -> Figures:
    """Figures of a column that holds numbers or text; `decimal` overrules what the column itself shows."""
    values = np.asarray(values)
    count = len(values)
    if values.dtype.kind in "fiu":
        figures = values.astype(float).copy()
        missing = np.isin(figures, list(_SENTINELS)) | np.isinf(figures)
        figures[missing] = np.nan
        blank = np.full(count, "", dtype=object)
        return Figures(figures, blank, blank, np.zeros(count, dtype=bool), missing)
    code, words = pd.factorize(values)
    texts = [str(word).strip() for word in words]
    decimal = decimal or decimal_sign(texts)
    read = [parse_quantity(text, decimal) if text else None for text in texts]
    value = np.array([np.nan if one is None else one.value for one in read] + [np.nan])
    unit = np.array(["" if one is None else one.unit for one in read] + [""], dtype=object)
    rest = np.array(["" if one is None else one.rest for one in read] + [""], dtype=object)
    unread = np.array([bool(text) and one is None and not _is_blank(text) for text, one in zip(texts, read)] + [False])
    missing = np.isin(value, list(_SENTINELS)) | np.isinf(value)
    value[missing] = np.nan
    return Figures(value[code], unit[code], rest[code], unread[code], missing[code])


def _is_blank(text: str) -> bool:
    """Words with which people say that they do not know."""
    return text.lower().strip(" .") in ("", "-", "--", "?", "n/a", "na", "nan", "none", "null", "unknown", "unk", "tbd")
