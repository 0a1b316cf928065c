"""deep-trench: a pipe deeper than it is made for, and than a trench stands."""

from __future__ import annotations

from collections.abc import Iterator

from .case import Case
from .cover_rows import not_judged, rows_of
from .declare import NotChecked, Severity, Stretches, check


@check(
    id="deep-trench",
    title="Pipe lies deeper than the greatest depth",
    remedy="Before digging here plan trench protection; check that the pipe may carry this load.",
    false_alarm="Heavier pipe and narrow trenches allow more; set the limit greatest_depth to what was laid.",
    severity=Severity.DOUBT,
    source="depth = ground less invert",
    kind="length",
    limits=("greatest_depth",),
    worst="max",
)
def deep_trench(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: the greatest depth in the stretch."""
    judged = case.cover
    yield rows_of(case, judged.deep, "greatest_depth", limit_is_least=False)
    yield from not_judged(case, judged, needs_size=False)
