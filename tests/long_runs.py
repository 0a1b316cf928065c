"""How much a test does: a stated smaller number in `make test`, all of it in `make test-long`."""

import os
from pathlib import Path

LONG = bool(os.environ.get("FALLKEEPER_TEST_LONG"))
RESULTS = Path(__file__).resolve().parents[1] / ".test-long.txt"


def times(in_test: int, in_long: int) -> int:
    """`in_test` for `make test`, `in_long` for `make test-long`."""
    return in_long if LONG else in_test


def report(subject: str, result: str) -> None:
    """One line about a long run, for docs/history.md."""
    if LONG:
        with RESULTS.open("a", encoding="utf-8") as results:
            results.write(f"{subject}: {result}\n")
