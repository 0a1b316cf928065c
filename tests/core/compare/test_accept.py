"""Accepting into a file without QGIS: killed at any moment, and undone."""

import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import layouts
import pytest
from fallkeeper.plugin.compare.accept import accept_layout
from fallkeeper.plugin.compare.decide import decide
from fallkeeper.plugin.units import US_SURVEY_FOOT_M
from fallkeeper.sample_project import rows
from scenario import UNITS

SAMPLE = Path(rows.__file__).with_name("ossel_flats.gpkg")
TESTS = Path(layouts.__file__).resolve().parent
TABLES = ("drains", "structures", "shots", "layouts", "layout_lines", "land", "calls", "readings")


@pytest.fixture(scope="module")
def compared():
    """The layout of F7 beside the sample as it is shipped, with its gap in main B."""
    return layouts.compare_f7(bridged=False)


@pytest.fixture
def county(tmp_path):
    path = tmp_path / "county.gpkg"
    path.write_bytes(SAMPLE.read_bytes())
    return path


def held(path):
    with closing(sqlite3.connect(path)) as file:
        return {name: file.execute(f"SELECT * FROM {name} ORDER BY 1").fetchall() for name in TABLES}


def accept(path, compared):
    return accept_layout(path, compared, decide(compared), layouts.brought(layouts.f7_rows()), US_SURVEY_FOOT_M, UNITS,
                         "Layout F7", "Ada")


def test_accepting_adds_rows_and_changes_none(county, compared):
    before = held(county)
    accepted = accept(county, compared)
    after = held(county)
    assert accepted.taken == layouts.CLEAN and not accepted.redrawn
    assert set(before["drains"]) < set(after["drains"]) and len(after["drains"]) == len(before["drains"]) + 6
    assert len(after["layout_lines"]) == 12
    for name in TABLES[1:]:
        assert set(before[name]) <= set(after[name])


@pytest.mark.parametrize("moment", [1, 4, 7, 12, 19])
def test_killed_in_the_middle_the_archive_is_as_before(county, compared, moment):
    before = held(county)
    program = (
        "import sys, time, pathlib\n"
        f"sys.path[:0] = [{str(TESTS)!r}]\n"
        "import conftest, layouts\n"
        "from fallkeeper.plugin.history import batch\n"
        "from fallkeeper.plugin.compare.accept import accept_layout\n"
        "from fallkeeper.plugin.compare.decide import decide\n"
        "from scenario import UNITS\n"
        "write, count = batch.Batch.insert, [0]\n"
        "def insert(self, *given, **more):\n"
        "    count[0] += 1\n"
        f"    if count[0] == {moment}:\n"
        "        print('now', flush=True)\n"
        "        time.sleep(60)\n"
        "    return write(self, *given, **more)\n"
        "batch.Batch.insert = insert\n"
        "compared = layouts.compare_f7(bridged=False)\n"
        "brought = layouts.brought(layouts.f7_rows())\n"
        f"path = pathlib.Path({str(county)!r})\n"
        "accept_layout(path, compared, decide(compared), brought, 0.3048006096, UNITS, 'why')\n"
    )
    process = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout.readline().strip() == "now"
    finally:
        os.kill(process.pid, signal.SIGKILL)
        process.wait(30)
        process.stdout.close()
    assert held(county) == before
    assert accept(county, compared).taken == layouts.CLEAN
