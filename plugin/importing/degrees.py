"""Longitudes and latitudes as people write them: -82.0173, 82.0173 W, 82\u00b001'02.2"W, N 41 51.685."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from .quantity import decimal_sign, parse_number, read_figures

_SIDE = {"N": 1.0, "E": 1.0, "S": -1.0, "W": -1.0}
_NUMBER = r"\d+(?:[.,]\d+)?"
_DEGREES = re.compile(
    rf"^\s*(?P<before>[NESW])?\s*(?P<sign>[-+])?(?P<degrees>{_NUMBER})\s*(?:\u00b0|\u00ba|deg)?"
    rf"(?:\s*[:\s]?\s*(?P<minutes>{_NUMBER})\s*(?:'|\u2019|\u2032|min)?)?"
    rf"(?:\s*[:\s]?\s*(?P<seconds>{_NUMBER})\s*(?:\"|''|\u201d|\u2033|sec)?)?\s*(?P<after>[NESW])?\s*$",
    re.IGNORECASE,
)  # fmt: skip


def read_degrees(values: np.ndarray) -> np.ndarray:
    """Degrees of a column that holds numbers or text, south and west negative; NaN where it cannot be read."""
    if np.asarray(values).dtype.kind in "fiu":
        return read_figures(values).value
    code, words = pd.factorize(values)
    texts = [str(word) for word in words]
    decimal = decimal_sign(texts) or "."
    return np.array([*(_degrees(text, decimal) for text in texts), np.nan])[code]


def _degrees(text: str, decimal: str) -> float:
    found = _DEGREES.match(text)
    if not found:
        return np.nan
    parts = [parse_number(found[name] or "0", decimal) for name in ("degrees", "minutes", "seconds")]
    if any(part is None for part in parts) or max(parts[1:]) >= 60:  # type: ignore[type-var]
        return np.nan
    if found["minutes"] and parts[0] % 1 or found["seconds"] and parts[1] % 1:  # type: ignore[operator]
        return np.nan
    side = (found["before"] or found["after"] or "N").upper()
    sign = -1.0 if found["sign"] == "-" else 1.0
    return sign * _SIDE[side] * (parts[0] + parts[1] / 60 + parts[2] / 3600)  # type: ignore[operator]
