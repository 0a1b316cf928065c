"""Lengths as people write them: 3' 4", 3 ft 4 in, 40 in, 3.33, 1.02 m. What may mean two things is refused."""

from __future__ import annotations

import math
import re
from fractions import Fraction

from .units import FOOT_M, INCH_M, Units

INCHES_A_FOOT = 12

_MARKS = (("\u2032", "'"), ("\u2019", "'"), ("\u2018", "'"), ("\u2033", '"'), ("\u201d", '"'), ("\u201c", '"'),
          ("''", '"'), ("\u00a0", " "), ("\u202f", " "))
_FEET, _INCHES = r"(?:'|ft\.?|feet|foot)", r"(?:\"|in\.?|inches|inch)"
_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_WITH_PART = r"(?:\d+[ -])?\d+/\d+"  # 4 1/2, 4-1/2, 1/2
_PATTERNS = tuple(re.compile(pattern) for pattern in (
    rf"(?P<feet>{_NUMBER})\s*{_FEET}(?:\s*-?\s*(?P<inches>{_WITH_PART}|{_NUMBER})\s*{_INCHES}?)?",
    rf"(?P<inches>{_WITH_PART}|{_NUMBER})\s*{_INCHES}",
    rf"(?P<metric>{_NUMBER})\s*(?P<unit>mm|cm|m)",
    rf"(?P<plain>{_NUMBER})",
))
_METRIC_M = {"m": 1.0, "cm": 0.01, "mm": 0.001}


def read_length_m(text: str, units: Units) -> float:
    """Metres; NaN for an empty text. A number alone is in the unit of lengths of `units`.

    Feet and inches are of `units` too, so that 3' 4" is 3.3333 of the feet the archive counts in. Raises ValueError
    with a sentence that says what to write instead.
    """
    words = text.strip().lower()
    for mark, plain in _MARKS:
        words = words.replace(mark, plain)
    if not words:
        return math.nan
    if words.startswith("-"):
        raise ValueError(f"'{text.strip()}' is negative: write how far it is down from the ground.")
    if "," in words:
        raise ValueError(f"'{text.strip()}' has a comma, which may part thousands or decimals: write a point.")
    found = next((match for match in (pattern.fullmatch(words) for pattern in _PATTERNS) if match), None)
    if found is None:
        raise ValueError(
            f"'{text.strip()}' may mean several things, or nothing: write 3' 4\", 3 ft 4 in, 40 in, 3.33 ft or 1.02 m."
        )
    return _metres(found.groupdict(), text.strip(), units)


def show_feet_and_inches(length_m: float, foot_m: float = FOOT_M) -> str:
    """As a tape reads it, to the next half inch: 3' 4\"."""
    halves = round(length_m / foot_m * INCHES_A_FOOT * 2)
    feet, rest = divmod(halves, INCHES_A_FOOT * 2)
    return f"{feet}' {rest // 2}{' 1/2' if rest % 2 else ''}\""


def _metres(parts: dict[str, str | None], text: str, units: Units) -> float:
    if parts.get("plain"):
        return float(parts["plain"]) * units.length_m
    if parts.get("metric"):
        return float(parts["metric"]) * _METRIC_M[parts["unit"]]
    foot_m, inch_m = (units.foot_m, units.foot_m / INCHES_A_FOOT) if units.is_us else (FOOT_M, INCH_M)
    inches = _number(parts.get("inches") or "0", text)
    if not parts.get("feet"):
        return inches * inch_m
    feet = float(parts["feet"])
    if parts.get("inches") and not feet.is_integer():
        raise ValueError(f"'{text}' has parts of a foot and inches too: write one of them.")
    if inches >= INCHES_A_FOOT:
        raise ValueError(f"'{text}' has {inches:g} inches beside feet, and a foot has {INCHES_A_FOOT}: which is meant?")
    return feet * foot_m + inches * inch_m


def _number(words: str, text: str) -> float:
    """A number that may have a fraction: 4, 4.5, 4 1/2."""
    try:
        return float(sum(Fraction(part) for part in re.split(r"[ -]", words)))
    except ZeroDivisionError:
        raise ValueError(f"'{text}' divides by nothing: write the fraction of an inch again.") from None
