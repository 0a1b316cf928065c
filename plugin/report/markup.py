"""Text and numbers as they may stand in HTML and SVG."""

from __future__ import annotations

import html
import math
import re

NONE = "\u2013"
MINUS = "\u2212"

_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]")
_DIGITS = {"%": 3, "ft": 2, "m": 2, "in": 1, "mm": 0, "ft/s": 2, "m/s": 2, "acres": 2, "ha": 2}


def escape(text: object) -> str:
    """Text safe between tags and inside a quoted attribute; characters XML forbids become U+FFFD."""
    return html.escape(_NOT_IN_XML.sub("\ufffd", str(text)), quote=True)


def is_known(value: object) -> bool:
    """False for None, NaN (also that of a date or an integer column) and empty text."""
    if value is None or value is NotImplemented:
        return False
    if isinstance(value, str):
        return bool(value.strip())
    try:
        return bool(value == value)  # NaN and NaT differ from themselves; pandas' NA refuses the question
    except TypeError:
        return False


def show_number(value: object, unit: str) -> str:
    """A figure with its unit; a dash where there is none."""
    if not is_known(value) or not math.isfinite(float(value)):  # type: ignore[arg-type]
        return NONE
    digits = _DIGITS.get(unit, 2)
    shown = f"{float(value):,.{digits}f}"  # type: ignore[arg-type]
    if float(shown.replace(",", "")) == 0:
        shown = shown.lstrip("-")
    return f"{shown.replace('-', MINUS)} {unit}".strip()


def show_probability(probability: object) -> str:
    """A probability in %, never rounded up to certainty."""
    if not is_known(probability) or not math.isfinite(float(probability)):  # type: ignore[arg-type]
        return NONE
    share = float(probability)  # type: ignore[arg-type]
    if share > 0.999:
        return "over 99.9 %"
    if share < 0.001:
        return "under 0.1 %"
    return f"{100 * share:.1f} %"


def plural(count: int, one: str, many: str = "") -> str:
    """'1 drain', '1,204 drains'."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"
