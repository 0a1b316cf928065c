"""One subject of the benchmark in a process of its own:  worker.py SUBJECT COUNTY_FOLDER LINES RESULT.json"""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from county import ROOT, County
from measure import Clock

PROCESSING_FOLDERS = ("/usr/share/qgis/python/plugins", "/usr/share/qgis/python")

NOTHING, QGIS, PROCESSING = range(3)

# subject: module and function, and how much of QGIS it needs
SUBJECTS = {
    "machine": ("machine", "describe", NOTHING),
    "decode": ("limits_of_work", "decode_ground", NOTHING),
    "step": ("limits_of_work", "step_file", NOTHING),
    "engine": ("stages", "engine", QGIS),
    "profile": ("stages", "profile", QGIS),
    "any order": ("stages", "elevations_in_any_order", QGIS),
    "clicks": ("clicks", "trace_by_click", QGIS),
    "one edit": ("edits", "one_edit", QGIS),
    "truth": ("truth", "compare", QGIS),
    "buildnetwork to GeoPackage": ("as_user", "build_to_geopackage", PROCESSING),
    "buildnetwork to memory": ("as_user", "build_to_memory", PROCESSING),
    "checkdrains to GeoPackage": ("as_user", "check_to_geopackage", PROCESSING),
    "checkdrains to memory": ("as_user", "check_to_memory", PROCESSING),
    "PyQGIS loop": ("peers", "read_all", PROCESSING),
    "graph builder": ("peers", "graph_builder", PROCESSING),
    "snap and split": ("peers", "snap_and_split", PROCESSING),
    "densify and drape": ("peers", "densify_and_drape", PROCESSING),
    "join by nearest": ("peers", "join_by_nearest", PROCESSING),
    "PostGIS": ("postgis", "joins_in_database", NOTHING),
}


def main(subject: str, folder: str, lines: str, told: str) -> None:
    module, function, needs = SUBJECTS[subject]
    county, clock = County(Path(folder), int(lines)), Clock()
    import_checkout()
    with _running(needs):
        getattr(importlib.import_module(module), function)(county, clock)
        Path(told).write_text(json.dumps(clock.told()), encoding="utf-8")


def import_checkout() -> None:
    """The checkout as the package `fallkeeper`, whatever its folder is called."""
    spec = importlib.util.spec_from_file_location(
        "fallkeeper", ROOT / "__init__.py", submodule_search_locations=[str(ROOT)]
    )
    package = importlib.util.module_from_spec(spec)
    sys.modules["fallkeeper"] = package
    spec.loader.exec_module(package)


@contextmanager
def _running(needs: int) -> Iterator[None]:
    """QGIS without a desktop and with an empty profile, with the algorithms of this checkout where they are needed."""
    if needs == NOTHING:
        yield
        return
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    profile = tempfile.mkdtemp(prefix="fallkeeper_bench_")
    os.environ["QGIS_CUSTOM_CONFIG_PATH"] = profile
    from qgis.core import QgsApplication, QgsProject

    application = QgsApplication([], True)
    application.initQgis()
    kept = _add_algorithms() if needs == PROCESSING else None  # the registry alone does not keep a provider alive
    try:
        yield
    finally:
        QgsProject.instance().clear()
        if kept is not None:
            QgsApplication.processingRegistry().removeProvider(kept)
        application.exitQgis()
        shutil.rmtree(profile, ignore_errors=True)


def _add_algorithms() -> object:
    sys.path += [path for path in PROCESSING_FOLDERS if Path(path).is_dir() and path not in sys.path]
    from fallkeeper.processing_algs.provider import FallkeeperProvider
    from processing.core.Processing import Processing
    from qgis.core import QgsApplication

    Processing.initialize()
    provider = FallkeeperProvider()
    QgsApplication.processingRegistry().addProvider(provider)
    return provider


if __name__ == "__main__":
    main(*sys.argv[1:])
