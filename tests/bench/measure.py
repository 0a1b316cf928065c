"""Wall clock, CPU seconds and peak memory of work done in a process of its own; only the standard library here.

A process inherits the peak memory of the one that starts it, so that one has to stay small.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

WORKER = Path(__file__).resolve().with_name("worker.py")


def peak_mb() -> float:
    """The most memory this process has held so far, in millions of bytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


class Clock:
    """Stages of one piece of work: seconds on the wall, CPU seconds of all threads, and the peak memory after it."""

    def __init__(self) -> None:
        self.stages: dict[str, dict[str, float]] = {}
        self.loaded_mb = peak_mb()
        self.facts: dict[str, object] = {}
        self.mark()

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        self.mark()
        yield
        self.lap(stage)

    def mark(self) -> None:
        """The next stage begins now."""
        self._wall, self._cpu = time.perf_counter(), time.process_time()

    def lap(self, stage: str) -> None:
        """A stage ends now and the next one begins."""
        wall, cpu = time.perf_counter() - self._wall, time.process_time() - self._cpu
        self.stages[stage] = {"wall": wall, "cpu": cpu, "peak_mb": peak_mb()}
        self.mark()

    def loaded(self) -> None:
        """What is in memory now are libraries, not the county."""
        self.loaded_mb = peak_mb()

    def told(self) -> dict[str, object]:
        return {"stages": self.stages, "loaded_mb": self.loaded_mb, "peak_mb": peak_mb(), "facts": self.facts}


def run(subject: str, folder: Path, lines: int) -> dict[str, object]:
    """Run a subject of worker.py on a county in a fresh process; what its clock told.

    QGIS may crash while the process ends, so the file it wrote counts and not its exit status.
    """
    with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_") as aside:
        told = Path(aside) / "told.json"
        order = [sys.executable, str(WORKER), subject, str(folder), str(lines), str(told)]
        done = subprocess.run(order, capture_output=True, text=True, encoding="utf-8", errors="replace")
        if not told.exists():
            raise RuntimeError(f"'{subject}' broke off on {lines:,} lines:\n{done.stdout[-2000:]}{done.stderr[-4000:]}")
        return json.loads(told.read_text(encoding="utf-8"))


def load_now() -> float:
    """How many processes want to run; more than a few tenths before a run spoils its figures."""
    return os.getloadavg()[0]


@dataclass(frozen=True)
class Spread:
    """Median, least and greatest of repetitions."""

    median: float
    least: float
    greatest: float
    count: int

    @classmethod
    def of(cls, values: Sequence[float]) -> Spread:
        return cls(statistics.median(values), min(values), max(values), len(values))
