"""Measure the engine and the algorithms on whole counties, beside what else there is:  run_bench.py [LINES ...]

Exit status 1: something was found wrong (see "Is it right?" on the page); 3: there is no generator of counties.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from datetime import date
from pathlib import Path

import measure
import postgis
from county import CACHE, GENERATOR, ROOT, County, cell_m, generator, provide
from results import Measured

SIZES = (20_000, 200_000)
OWN = (
    "decode", "step", "engine", "any order", "clicks", "one edit", "buildnetwork to memory",
    "buildnetwork to GeoPackage", "checkdrains to memory", "checkdrains to GeoPackage",
)
PEERS = ("graph builder", "snap and split", "densify and drape", "join by nearest", "PyQGIS loop")
QUICK = ("decode", "step", "engine", "clicks", "checkdrains to memory")
ROUNDS, ROUNDS_OF_A_MILLION = 5, 3


def main() -> int:
    given = _arguments()
    script = generator()
    if script is None:
        print(f"There is no county to measure: set {GENERATOR} to the script that generates counties.", file=sys.stderr)
        return 3
    given.folder.mkdir(parents=True, exist_ok=True)
    load, wrong = measure.load_now(), 0
    for lines in given.lines or SIZES:
        measured = _measure(provide(script, lines, given.folder), given, load)
        measured.save(given.folder)
        wrong += _say_what_is_wrong(measured)
    _write_page(given, measured)
    return 1 if wrong else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("lines", nargs="*", type=int, help="sizes of county (default: 20000 200000)")
    parser.add_argument("--rounds", type=int, help="repetitions (default: 5, from a million lines on 3)")
    parser.add_argument("--quick", action="store_true", help="without other tools, to try the benchmark itself")
    parser.add_argument("--folder", type=Path, default=CACHE, help="where counties and results are kept")
    parser.add_argument("--page", type=Path, default=Path(__file__).resolve().with_name("RESULTS.md"))
    return parser.parse_args()


def _measure(county: County, given: argparse.Namespace, load: float) -> Measured:
    about = measure.run("machine", county.folder, county.lines)["facts"]
    subjects, left_out = _subjects(given.quick)
    rounds = given.rounds or (ROUNDS if county.lines < 1_000_000 else ROUNDS_OF_A_MILLION)
    runs: dict[str, list[dict]] = {subject: [] for subject in subjects}
    for number in range(rounds):
        for subject in subjects:
            runs[subject].append(measure.run(subject, county.folder, county.lines))
            seconds = sum(stage["wall"] for stage in runs[subject][-1]["stages"].values())
            print(f"{county.lines:,} lines, round {number + 1} of {rounds}: {subject} {seconds:.2f} s", flush=True)
    about["profile"] = [] if given.quick else measure.run("profile", county.folder, county.lines)["facts"]["profile"]
    truth = measure.run("truth", county.folder, county.lines)["facts"]["rows"]
    return Measured(
        county.lines, cell_m(county.lines), about, _commit(), date.today().isoformat(), load, left_out, runs,
        [*truth, _same_either_way(runs)],
    )


def _subjects(quick: bool) -> tuple[tuple[str, ...], list[str]]:
    """What to run, and sentences on what is left out."""
    if quick:
        return QUICK, ["Other tools were left out of this quick run."]
    why = postgis.why_left_out()
    return (*OWN, *PEERS, *(() if why else ("PostGIS",))), [why] if why else []


def _same_either_way(runs: dict[str, list[dict]]) -> dict[str, object]:
    """The algorithm has to find what the engine by itself found."""
    engine = runs["engine"][0]["facts"]["findings"]
    algorithm = runs["checkdrains to memory"][0]["facts"]["FINDING_COUNT"]
    few, many = max(engine - algorithm, 0), max(algorithm - engine, 0)
    return {"what": "findings of the engine that checkdrains has", "there": engine, "found": min(engine, algorithm),
            "missed": few, "too_many": many, "examples": []}


def _say_what_is_wrong(measured: Measured) -> int:
    rows = [row for row in measured.truth if row["missed"] or row["too_many"]]
    for row in rows:
        print(f"WRONG, {measured.lines:,} lines, {row['what']}: {row['missed']} of {row['there']:,} missed, "
              f"{row['too_many']} too many; {', '.join(row['examples'])}", file=sys.stderr)
    return len(rows)


def _commit() -> str:
    """The commit that was measured; a plus where files were changed since."""
    def git(*words: str) -> str:
        return subprocess.run(["git", "-C", str(ROOT), *words], capture_output=True, text=True).stdout.strip()

    changed = git("status", "--porcelain", "plugin", "processing_algs")
    return git("rev-parse", "--short", "HEAD") + ("+" if changed else "")


def _write_page(given: argparse.Namespace, now: Measured) -> None:
    """The page of all sizes measured on this machine with these versions. Loads numpy: last, so that no run has it."""
    import growth
    import page
    import worker

    worker.import_checkout()
    same = Measured.kept(given.folder, now.about["machine"])
    given.page.write_text(page.page(same, "make bench"), encoding="utf-8")
    if len(same) > 1:
        given.page.with_name(page.PLOT).write_text(growth.plot(same), encoding="utf-8")
    print(f"Results: {given.page}")


if __name__ == "__main__":
    sys.exit(main())
