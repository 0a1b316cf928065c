"""What was measured on one county, kept as JSON, and ratios within the same round."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from measure import Spread

LAND = "land by owner"
BUILD_STAGES = ("read", "build", "accumulate")


@dataclass(frozen=True)
class Measured:
    """All runs on the county of `lines` lines: `runs[subject]` has what its clock told, one a round."""

    lines: int
    cell_m: float
    about: dict
    commit: str
    made_on: str
    load: list[float]
    left_out: list[str]
    runs: dict[str, list[dict]]
    truth: list[dict]

    def save(self, folder: Path) -> None:
        text = json.dumps(asdict(self), indent=1)
        (folder / f"results_{self.lines}.json").write_text(text, encoding="utf-8")

    @classmethod
    def kept(cls, folder: Path) -> list[Measured]:
        """Every county measured so far, smallest first."""
        read = [cls(**json.loads(p.read_text(encoding="utf-8"))) for p in folder.glob("results_*.json")]
        return sorted(read, key=lambda measured: measured.lines)

    @property
    def cells(self) -> int:
        return self.about["cells"]

    def has(self, subject: str) -> bool:
        return bool(self.runs.get(subject))

    def stages(self, subject: str) -> list[str]:
        return list(self.runs[subject][0]["stages"])

    def check_stages(self) -> list[str]:
        """Stages of the engine that make up a check of the whole county."""
        return [stage for stage in self.stages("engine") if stage != LAND]

    def seconds(self, subject: str, stages: Iterable[str] | None = None, kind: str = "wall") -> list[float]:
        """One figure a round: the sum over the stages, of all of them where none are named."""
        wanted = self.stages(subject) if stages is None else list(stages)
        return [sum(run["stages"][stage][kind] for stage in wanted) for run in self.runs[subject]]

    def spread(self, subject: str, stages: Iterable[str] | None = None, kind: str = "wall") -> Spread:
        return Spread.of(self.seconds(subject, stages, kind))

    def peak_mb(self, subject: str) -> float:
        return Spread.of([run["peak_mb"] for run in self.runs[subject]]).median

    def loaded_mb(self, subject: str) -> float:
        return Spread.of([run["loaded_mb"] for run in self.runs[subject]]).median

    def facts(self, subject: str) -> dict:
        return self.runs[subject][0]["facts"]


def ratio(ours: list[float], theirs: list[float]) -> Spread:
    """Ours over theirs, round by round."""
    return Spread.of([one / other for one, other in zip(ours, theirs)])


def added(*columns: list[float]) -> list[float]:
    """Sums round by round."""
    return [sum(of_round) for of_round in zip(*columns)]
