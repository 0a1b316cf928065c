"""The benchmark itself, on a county small enough to run with the tests."""

import os
import subprocess
import sys
from pathlib import Path

from outside import GENERATOR, county_generator

BENCH = Path(__file__).resolve().parents[1] / "bench" / "run_bench.py"


def run(*arguments, **changed):
    environment = {**os.environ, **changed}
    order = [sys.executable, str(BENCH), *arguments]
    return subprocess.run(order, env=environment, capture_output=True, text=True, encoding="utf-8", errors="replace")


def test_a_small_county_gives_a_page_with_all_its_tables(tmp_path):
    county_generator()
    page = tmp_path / "results.md"
    done = run("2000", "--quick", "--rounds", "1", "--folder", str(tmp_path / "kept"), "--page", str(page))
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    heads = [line.removeprefix("## ") for line in text.splitlines() if line.startswith("## ")]
    assert heads == [
        "Targets, 2,000 lines", "Beside what else there is", "Growth", "Is it right?",
        "The engine, stage by stage, 2,000 lines", "As a user runs it", "The others and the limits", "Memory",
        "A click on a pipe", "Machine and versions",
    ]
    for row in ("| whole check by the engine, findings written | at most 2 times decoding the ground |",
                "| joints of the generator | 1,969 of 1,969; 0 missed, 0 too many |",
                "| loops added | 50 of 50; 0 missed, 0 too many |", "| elevations |", "| checkdrains to memory |"):
        assert row in text, row


def test_work_on_an_archive_gives_a_page(tmp_path):
    county_generator()
    page = tmp_path / "archive.md"
    order = [sys.executable, str(BENCH.parent / "archive" / "run_archive.py"), "2000", "--rounds", "1", "--folder",
             str(tmp_path / "kept"), "--page", str(page)]
    done = subprocess.run(order, capture_output=True, text=True, encoding="utf-8", errors="replace")
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    for row in ("## 2,000 lines, 1 rounds", "| read, feature by feature |", "| open all layers in a project |",
                "| one edit in QGIS, place and note, saved |", "| draw a day in the ground |",
                "| compare a layout of 2,000 lines |", "| take them back |"):
        assert row in text, row


def test_without_a_generator_it_says_so_in_one_sentence(tmp_path):
    done = run("2000", "--folder", str(tmp_path), **{GENERATOR: ""})
    assert done.returncode == 3
    assert done.stderr == (
        f"There is no county to measure: set {GENERATOR} to the script that generates counties.\n"
    )
