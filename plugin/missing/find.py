"""All that the map probably lacks, most land at stake first."""

from __future__ import annotations

from collections.abc import Callable

from ..county import County
from ..tables import Land
from .combs import find_combs
from .gaps import gaps_in_mains
from .mains import unmapped_mains
from .probable import Probable
from .teeth import missing_teeth


def find_missing(
    county: County, land: Land | None = None, progress: Callable[[float], None] = lambda share: None,
    is_canceled: Callable[[], bool] = lambda: False,
) -> list[Probable]:
    """Probable pipe: bridges over gaps in mains, mains along rows of open ends, laterals left out of rows."""
    found: list[Probable] = []
    combs = find_combs(county, county.limits["gap_most_teeth"])
    progress(0.3)
    for number, look in enumerate((
        lambda: gaps_in_mains(county),
        lambda: unmapped_mains(county, combs),
        lambda: missing_teeth(county, combs, land, is_canceled),
    )):
        if is_canceled():
            return found
        found += look()
        progress(0.3 + 0.7 * (number + 1) / 3)
    return sorted(found, key=lambda one: -one.area_m2)
