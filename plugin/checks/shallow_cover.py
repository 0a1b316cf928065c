"""shallow-cover: too little earth above the crown."""

from __future__ import annotations

from collections.abc import Iterator

from .case import Case
from .cover_rows import not_judged, rows_of
from .declare import NotChecked, Severity, Stretches, check


@check(
    id="shallow-cover",
    title="Too little earth above the pipe",
    remedy="Keep heavy loads off; probe the depth at the stretch; where it is true, lower the pipe or sleeve it.",
    false_alarm="A ditch, a grade change after laying, or a ground raster that shows a road or bank beside the pipe.",
    severity=Severity.DOUBT,
    source="cover = ground less invert less inside diameter",
    kind="length",
    limits=("least_cover",),
    worst="min",
)
def shallow_cover(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: the least cover in the stretch, judged continuously along the pipe."""
    judged = case.cover
    yield rows_of(case, judged.shallow, "least_cover", limit_is_least=True)
    yield from not_judged(case, judged, needs_size=True)
