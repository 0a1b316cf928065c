"""Round ticks, and the frame that maps stations and elevations to pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from ..units import Units

Number = TypeVar("Number", float, np.ndarray)


@dataclass(frozen=True)
class Frame:
    """The plotting rectangle in pixels and the SI range it shows (x: station, y: elevation)."""

    left: float
    top: float
    right: float
    bottom: float
    x_from_m: float
    x_to_m: float
    y_from_m: float
    y_to_m: float

    @property
    def x_px_per_m(self) -> float:
        return (self.right - self.left) / (self.x_to_m - self.x_from_m)

    @property
    def y_px_per_m(self) -> float:
        return (self.bottom - self.top) / (self.y_to_m - self.y_from_m)

    @property
    def exaggeration(self) -> float:
        """How many times taller than true the drawing is."""
        return self.y_px_per_m / self.x_px_per_m

    def x(self, station_m: Number) -> Number:
        return self.left + (station_m - self.x_from_m) * self.x_px_per_m

    def y(self, elevation_m: Number) -> Number:
        return self.bottom - (elevation_m - self.y_from_m) * self.y_px_per_m


def round_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that cuts `span` into at most `most` steps."""
    least = span / most
    power = 10.0 ** math.floor(math.log10(least))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= least * (1 - 1e-9))


def ticks(from_m: float, to_m: float, unit_m: float, most: int) -> tuple[np.ndarray, float]:
    """Round places between two SI values, in units of `unit_m`, and the step between them."""
    low, high = from_m / unit_m, to_m / unit_m
    step = round_step(high - low, most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return np.arange(first, last + 1) * step, step


def decimals(step: float) -> int:
    """Digits after the point that tell ticks `step` apart."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


def station_label(value: float, step: float, units: Units) -> str:
    """A tick on the station axis: '8+50' in feet, '250' in metres."""
    if units.is_us:
        return units.show_station(value * units.length_m)
    return f"{value:,.{decimals(step)}f}"


def show_exaggeration(frame: Frame) -> str:
    """The exaggeration in figures for people: '85', '2.5'."""
    ratio = frame.exaggeration
    return f"{ratio:,.0f}" if ratio >= 10 else f"{ratio:.1f}"
