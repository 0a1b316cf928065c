"""steep-grade: a pipe so steep that a full flow may wash out its bedding."""

from __future__ import annotations

from collections.abc import Iterator

from ..hydraulics.manning import greatest_grade
from .case import Case
from .declare import NotChecked, Severity, Stretches, check
from .velocity_grade import judge_against


@check(
    id="steep-grade",
    title="Grade is steeper than the soil around the pipe may stand",
    remedy="Look for holes and blowouts along it; where relaid, use tight joints or a drop at a structure.",
    false_alarm="Solid pipe with tight joints stands more.",
    severity=Severity.DOUBT,
    source="Manning full flow at the greatest velocity",
    kind="grade",
    limits=("greatest_velocity", "p_reverse", "p_falls"),
    worst="max",
)
def steep_grade(case: Case) -> Iterator[Stretches | NotChecked]:
    """Value: the greatest grade in the stretch; limit: the grade of the greatest velocity of the full pipe."""
    yield from judge_against(case, greatest_grade, too_flat=False)
