"""The demo as `make demo` runs it: a process of its own, every known answer found, every file made."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MADE = (
    "report.html", "reroute_r1.html", "reroute_r2.html", "map_fall.png", "map_suspects.png", "map_plug.png",
    "profile_r1.png", "profile_r2.png", "results.gpkg", "not_checked.csv", "ossel_flats.qgz",
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "a folder with blanks ä"
    script = ROOT / "sample_project" / "run_demo.py"
    ran = subprocess.run([sys.executable, str(script), str(folder)], capture_output=True, text=True, timeout=240)
    return ran, folder


def test_finds_every_known_answer(demo):
    ran, _ = demo
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "DIFFERS" not in ran.stdout
    assert "16 " in ran.stdout
    assert "54.000" in ran.stdout
    assert "70.000" in ran.stdout


def test_makes_every_file(demo):
    _, folder = demo
    assert [name for name in MADE if not (folder / name).is_file() or not (folder / name).stat().st_size] == []


def test_says_nothing_alarming(demo):
    ran, _ = demo
    assert "Traceback" not in ran.stderr
    assert "ERROR" not in ran.stderr


def test_summary_fits_one_screen(demo):
    ran, _ = demo
    lines = ran.stdout.splitlines()
    assert len(lines) <= 50
    assert max(len(line) for line in lines if not line.startswith("  report.html") and "Open report" not in line) <= 110
