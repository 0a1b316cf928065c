"""flat-grade: a pipe that falls, but too little to keep itself clean."""

from __future__ import annotations

from collections.abc import Iterator

from ..hydraulics.manning import least_grade
from .case import Case
from .declare import NotChecked, Severity, Stretches, check
from .velocity_grade import judge_against


@check(
    id="flat-grade",
    title="Grade is less than keeps the pipe clean",
    remedy="Look for silt at the lower end first; when relaying use the fall there is, or keep silt out with a filter.",
    false_alarm="Old drains on flat land ran for decades on less; a filter or sock lets less do.",
    severity=Severity.DOUBT,
    source="Manning full flow at the least velocity",
    kind="grade",
    limits=("least_velocity", "least_velocity_fines", "fine_soil", "p_reverse", "p_falls"),
    worst="min",
)
def flat_grade(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: the least grade in the stretch; limit: the grade at which the full pipe runs at the least velocity."""
    yield from judge_against(case, least_grade, too_flat=True)
