"""Units people read and write, and their size in SI.

The engine computes in metres, square metres and cubic metres a second. Figures are converted once,
where they enter and where they leave, and only with this module. The US survey foot and the
international foot differ by 2 parts in a million, which is 4 ft in a coordinate of 2,000,000 ft.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FOOT_M = 0.3048
US_SURVEY_FOOT_M = 1200.0 / 3937.0
INCH_M = 0.0254
ACRE_FT2 = 43_560.0
HECTARE_M2 = 10_000.0
GALLON_M3 = 231.0 * INCH_M**3
DAY_S = 86_400.0
MINUTE_S = 60.0
LITRE_M3 = 0.001

US = "us"
METRIC = "metric"
SYSTEMS = (US, METRIC)


@dataclass(frozen=True)
class Units:
    """One system of units with the size of each unit in SI.

    `foot_m` is the foot of the plan: that of the layer's CRS where it counts in feet, so that a pipe
    drawn 871.2 long is reported 871.2 long; else the international foot.
    """

    system: str = US
    foot_m: float = FOOT_M

    @property
    def is_us(self) -> bool:
        return self.system == US

    @property
    def length_m(self) -> float:
        return self.foot_m if self.is_us else 1.0

    @property
    def diameter_m(self) -> float:
        return INCH_M if self.is_us else 0.001

    @property
    def area_m2(self) -> float:
        return ACRE_FT2 * self.foot_m**2 if self.is_us else HECTARE_M2

    @property
    def flow_m3_s(self) -> float:
        """Constant inflow: gallons a minute, litres a second."""
        return GALLON_M3 / MINUTE_S if self.is_us else LITRE_M3

    @property
    def coefficient_m_s(self) -> float:
        """Drainage coefficient: depth of water a day."""
        return (INCH_M if self.is_us else 0.001) / DAY_S

    @property
    def length_name(self) -> str:
        return "ft" if self.is_us else "m"

    @property
    def diameter_name(self) -> str:
        return "in" if self.is_us else "mm"

    @property
    def area_name(self) -> str:
        return "acres" if self.is_us else "ha"

    @property
    def flow_name(self) -> str:
        return "gal/min" if self.is_us else "L/s"

    def size_si(self, kind: str) -> float:
        """Size in SI of one unit of `kind`: length, diameter, area, flow, coefficient, velocity, grade, rate, angle,
        ratio or yes_no.

        A grade is kept as a ratio inside and shown in %; a rate is so many on 1,000 ft or on a km of pipe.
        """
        sizes = {
            "length": self.length_m,
            "diameter": self.diameter_m,
            "area": self.area_m2,
            "flow": self.flow_m3_s,
            "coefficient": self.coefficient_m_s,
            "velocity": self.length_m,
            "grade": 0.01,
            "rate": 0.001 / self.length_m,
            "angle": math.radians(1.0),
            "ratio": 1.0,
            "yes_no": 1.0,
        }
        return sizes[kind]

    def name(self, kind: str) -> str:
        """What people call the unit of `kind`."""
        names = {
            "length": self.length_name,
            "diameter": self.diameter_name,
            "area": self.area_name,
            "flow": self.flow_name,
            "coefficient": self.diameter_name + "/day",
            "velocity": self.length_name + "/s",
            "grade": "%",
            "rate": "per 1,000 ft" if self.is_us else "per km",
            "angle": "deg",
            "ratio": "",
            "yes_no": "",
        }
        return names[kind]

    def show_length(self, length_m: float, digits: int = 1) -> str:
        """A length for people: '871.2 ft'."""
        return f"{length_m / self.length_m:,.{digits}f} {self.length_name}"

    def show_station(self, station_m: float) -> str:
        """A distance from the outlet as people say it: '8+50' in feet, '259.1 m' in metres."""
        if not self.is_us:
            return f"{station_m:,.1f} m"
        tenths = round(station_m / self.length_m * 10)
        hundreds, rest = divmod(tenths, 1000)
        plus = f"{rest // 10:02d}" if rest % 10 == 0 else f"{rest / 10:04.1f}"
        return f"{hundreds}+{plus}"
