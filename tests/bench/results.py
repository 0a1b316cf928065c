"""What was measured on one county, kept as JSON, and ratios within the same round."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from measure import Spread

LAND = "land by owner"
BUILD_STAGES = ("read", "build", "accumulate")
SHOWING = ("page.py", "targets.py", "growth.py")  # they show results and take none


def way_of_measuring() -> str:
    """Tells apart results that other versions of the benchmark took."""
    files = sorted(path for path in Path(__file__).parent.glob("*.py") if path.name not in SHOWING)
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


@dataclass(frozen=True)
class Measured:
    """All runs on the county of `lines` lines: `runs[subject]` has what its clock told, one a round."""

    lines: int
    cell_m: float
    about: dict
    commit: str
    made_on: str
    load: float
    left_out: list[str]
    runs: dict[str, list[dict]]
    truth: list[dict]

    def save(self, folder: Path) -> None:
        text = json.dumps({**asdict(self), "way": way_of_measuring()}, indent=1)
        (folder / f"results_{self.lines}.json").write_text(text, encoding="utf-8")

    @classmethod
    def kept(cls, folder: Path, machine: dict) -> list[Measured]:
        """Counties measured so far in this way on a machine, smallest first."""
        read = [json.loads(path.read_text(encoding="utf-8")) for path in folder.glob("results_*.json")]
        same = [one for one in read if one.pop("way") == way_of_measuring() and one["about"]["machine"] == machine]
        return sorted((cls(**one) for one in same), key=lambda measured: measured.lines)

    @property
    def rounds(self) -> int:
        return len(self.runs["engine"])

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
