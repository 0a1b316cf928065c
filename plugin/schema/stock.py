"""Sizes in which pipe is sold, by material: to choose from, never to correct what somebody measured.

Inside diameters as the size is called. US sizes after ASTM F667 (corrugated), AASHTO M252 and M294 (dual wall), ASTM
D3034 (smooth; its inside differs from the name by some percent), C4 (clay) and C412 (concrete); metric clay after DIN
1180: all from memory. Metric plastic is named by its outside, and its inside differs by maker, so there the inch sizes
stand alone.
"""

from __future__ import annotations

from ..units import INCH_M

_IN = {
    "corrugated_plastic": (3, 4, 5, 6, 8, 10, 12, 15, 18, 24),
    "dual_wall_plastic": (4, 6, 8, 10, 12, 15, 18, 24, 30, 36),
    "smooth_plastic": (3, 4, 6, 8, 10, 12, 15),
    "clay": (4, 5, 6, 8, 10, 12, 15, 18, 21, 24, 30),
    "concrete": (4, 5, 6, 8, 10, 12, 15, 18, 21, 24, 30, 36),
}
_CLAY_MM = (50, 65, 80, 100, 130, 160, 180, 200)


def stock_sizes(material: str | None, is_us: bool) -> list[tuple[float, str]]:
    """Sizes of a material, of all where it is unknown, in inches or millimetres, with what people read: '4 in'."""
    inches = sorted({size for known, sizes in _IN.items() if material in (None, known) for size in sizes})
    if is_us:
        return [(float(size), f"{size} in") for size in inches]
    named = [(float(round(size * INCH_M * 1000.0)), f"{size * INCH_M * 1000.0:.0f} mm ({size} in)") for size in inches]
    clay = [(float(size), f"{size} mm (clay)") for size in _CLAY_MM] if material in (None, "clay") else []
    return sorted(named + clay)
