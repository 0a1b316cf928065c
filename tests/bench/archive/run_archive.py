"""Measure what people do with a large archive, as ratios to reading its drains:  run_archive.py [LINES ...]

Exit status 3: there is no generator of counties.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from datetime import date
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

import measure  # noqa: E402
from county import CACHE, GENERATOR, ROOT, generator, provide  # noqa: E402
from measure import Spread  # noqa: E402
from targets import show  # noqa: E402

SIZES = (200_000,)
READ = "read, feature by feature"
MOST_LOAD = 0.5


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("lines", nargs="*", type=int, help="sizes of county (default: 200000)")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path, default=CACHE, help="where counties and archives are kept")
    parser.add_argument("--page", type=Path, default=HERE.parent / "ARCHIVE.md")
    given = parser.parse_args()
    script = generator()
    if script is None:
        print(f"There is no county to measure: set {GENERATOR} to the script that generates counties.", file=sys.stderr)
        return 3
    given.folder.mkdir(parents=True, exist_ok=True)
    load = measure.load_now()
    runs = {lines: [_run(provide(script, lines, given.folder).folder, lines) for _ in range(given.rounds)]
            for lines in given.lines or SIZES}
    given.page.write_text(page(runs, load), encoding="utf-8")
    print(f"Results: {given.page}")
    return 0


def _run(folder: Path, lines: int) -> dict:
    """One round in a process of its own."""
    with tempfile.TemporaryDirectory(prefix="fallkeeper_bench_") as aside:
        told = Path(aside) / "told.json"
        done = subprocess.run([sys.executable, str(HERE / "work.py"), str(folder), str(lines), str(told)],
                              capture_output=True, text=True, encoding="utf-8", errors="replace")
        if not told.exists():
            raise RuntimeError(f"It broke off on {lines:,} lines:\n{done.stdout[-2000:]}{done.stderr[-4000:]}")
        return json.loads(told.read_text(encoding="utf-8"))


def page(runs: dict[int, list[dict]], load: float) -> str:
    commit = subprocess.run(["git", "-C", str(ROOT), "rev-parse", "--short", "HEAD"], capture_output=True, text=True)
    parts = [
        "# Times on a large archive", "",
        f"Made by `make bench-archive` on generated counties, {date.today().isoformat()}, commit "
        f"{commit.stdout.strip()}. Every line of the archive was added by itself and has its entry in the history. "
        "Each figure is the median of the rounds, with the least and the greatest behind it. Times are those of "
        "reading the drains feature by feature with QGIS in the same round.",
    ]
    if load > MOST_LOAD:
        parts += ["", f"Other work ran on the machine (load {load:.1f}): only CPU seconds and their ratios say much."]
    for lines, rounds in runs.items():
        parts += ["", *_size(lines, rounds)]
    return "\n".join(parts) + "\n"


def _size(lines: int, rounds: list[dict]) -> list[str]:
    facts = rounds[0]["facts"]
    rows = [["work", "CPU seconds", "times reading, CPU", "times reading, wall"], ["---", "---:", "---:", "---:"]]
    for stage in rounds[0]["stages"]:
        cpu, wall = ([one["stages"][stage][kind] for one in rounds] for kind in ("cpu", "wall"))
        read_cpu, read_wall = ([one["stages"][READ][kind] for one in rounds] for kind in ("cpu", "wall"))
        rows.append([stage, show(Spread.of(cpu)), _ratio(cpu, read_cpu), _ratio(wall, read_wall)])
    for name in ("edit", "edit without history"):
        cpu = [sorted(one["facts"][name])[len(one["facts"][name]) // 2] for one in rounds]
        read_cpu = [one["stages"][READ]["cpu"] for one in rounds]
        words = "one edit in QGIS, place and note, saved"
        words += "" if name == "edit" else ", without the triggers of rules and history"
        rows.append([words, show(Spread.of(cpu)), _ratio(cpu, read_cpu), ""])
    proposed = ", ".join(f"{action} {count:,}" for action, count in facts["proposed"].items())
    return [
        f"## {lines:,} lines, {len(rounds)} rounds", "",
        f"The file has {facts['archive_mb']:,.0f} MB. The layout has lines 3 m beside laterals of the archive and "
        f"lines it has; proposed were {proposed}. To accept is to read and compare first.", "",
        *("| " + " | ".join(row) + " |" for row in rows),
    ]


def _ratio(ours: list[float], read: list[float]) -> str:
    return show(Spread.of([own / other for own, other in zip(ours, read)]))


if __name__ == "__main__":
    sys.exit(main())
