"""Makes the checkout importable as the package `fallkeeper`, whatever its folder is called.

Test helpers beside this file and in in_qgis/ are importable by their own names (`import builders`). Without QGIS the
tests in in_qgis/ are not collected.
"""

import importlib.util
import os
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# the same examples on every run, and no test that fails because the computer is busy
settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")

TESTS = Path(__file__).resolve().parent
ROOT = TESTS.parent


def import_checkout_as_fallkeeper():
    spec = importlib.util.spec_from_file_location(
        "fallkeeper", ROOT / "__init__.py", submodule_search_locations=[str(ROOT)]
    )
    package = importlib.util.module_from_spec(spec)
    sys.modules["fallkeeper"] = package
    spec.loader.exec_module(package)


if "fallkeeper" not in sys.modules:
    import_checkout_as_fallkeeper()
sys.path[:0] = [str(folder) for folder in (TESTS, TESTS / "in_qgis") if str(folder) not in sys.path]

collect_ignore = [] if importlib.util.find_spec("qgis") else ["in_qgis"]


@pytest.fixture(scope="session")
def database_server():
    """A running PostgreSQL with PostGIS, one for each worker; see database_server.py."""
    import database_server

    why_not = database_server.why_not()
    # left out only where pytest is started by hand: `make test` installs the server, and without it has to fail
    assert not (why_not and os.environ.get("WITH_POSTGIS")), why_not
    if why_not:
        pytest.skip(f"{why_not} `make test` installs it.")
    with database_server.Server() as server:
        yield server
