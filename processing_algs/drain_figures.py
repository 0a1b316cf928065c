"""Figures of drains that only one algorithm asks for. Loaded only while an algorithm runs."""

from __future__ import annotations

from datetime import date

import numpy as np
from qgis.core import NULL, QgsFeatureRequest
from qgis.PyQt.QtCore import QDate, QDateTime

_DAYS_A_YEAR = 365.25


def figures_of(source, field: str) -> np.ndarray | None:
    """A field as figures, a row a drain in the order in which drains are read; None where there is no such field."""
    return _column(source, field, _figure)


def years_since(source, field: str, today: date) -> np.ndarray | None:
    """Years from the day in a field to today."""
    return _column(source, field, lambda value: _years(value, today))


def _column(source, field: str, read) -> np.ndarray | None:
    index = source.fields().lookupField(field)
    if index < 0:
        return None
    request = QgsFeatureRequest().setSubsetOfAttributes([index]).setFlags(QgsFeatureRequest.Flag.NoGeometry)
    return np.array([read(feature.attribute(index)) for feature in source.getFeatures(request)], dtype=float)


def _figure(value) -> float:
    try:
        return float("nan") if value is None or value == NULL else float(value)
    except (TypeError, ValueError):
        return float("nan")


def _years(value, today: date) -> float:
    """A day in a text counts by its year, month and day; what is no day is unknown."""
    if isinstance(value, QDateTime):
        value = value.date()
    day = value if isinstance(value, QDate) else QDate.fromString(str(value)[:10], "yyyy-MM-dd")
    return (today.toordinal() - day.toPyDate().toordinal()) / _DAYS_A_YEAR if day.isValid() else float("nan")
