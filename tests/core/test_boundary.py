"""Who may import what. The engine knows no QGIS, imports point one way, and the plugin loads without its libraries."""

import sys
from pathlib import Path

import pytest
import sources

ENGINE_LIBRARIES = {"numpy", "scipy", "shapely", "geopandas", "pandas", "networkx"}
HOST = {"qgis", "osgeo", "processing"}

# what meets QGIS; everything else in plugin/ is the engine
MEETS_QGIS = {"main", "gui", "qgis_layer", "processing_algs"}

# what each folder or module of plugin/, and processing_algs, may import besides itself; each uses what stands above it
FIGURES = {"units", "limits", "bulk"}
DOOR = FIGURES | {"schema", "tables", "lines"}
MODEL = DOOR | {"elevation", "network", "land", "hydraulics", "county", "county_update"}
ENGINE = MODEL | {"checks"}
INTAKE = {"importing"}
RESULTS = {"trace_sums", "result_tables", "land_tables", "ranking", "owners", "missing"}
MAY_IMPORT = {
    "dependencies": set(),
    "units": set(),
    "bulk": set(),
    "length_text": {"units"},
    "limits": {"units"},
    "schema": FIGURES,
    "tables": FIGURES | {"schema"},
    "lines": FIGURES,
    "sharing": FIGURES | {"schema"},
    "history": FIGURES | {"schema"},
    "drain_edits": DOOR | {"elevation", "history"},
    "elevation": DOOR,
    "network": DOOR | {"elevation"},
    "land": DOOR | {"network"},
    "hydraulics": DOOR | {"elevation", "network", "land"},
    "county": DOOR | {"elevation", "network", "land", "hydraulics"},
    "county_update": MODEL,
    "checks": MODEL,
    "trace_sums": MODEL,
    "result_tables": ENGINE,
    "land_tables": ENGINE | {"trace_sums", "result_tables"},
    "ranking": ENGINE | {"result_tables"},
    "missing": ENGINE | {"ranking", "result_tables"},
    "importing": DOOR,
    "owners": ENGINE | {"trace_sums", "result_tables", "report"},
    "report": ENGINE | INTAKE,
    "reroute": ENGINE | {"trace_sums", "report"},
    "compare": ENGINE | {"report", "result_tables", "history"},
    "answers": ENGINE | RESULTS | {"report", "reroute", "length_text"},
    "qgis_layer": ENGINE | INTAKE | {"dependencies", "sharing", "history", "drain_edits"},
    "processing_algs": ENGINE | INTAKE | RESULTS | {
        "dependencies", "report", "reroute", "compare", "qgis_layer", "sharing", "history"
    },
    "gui": ENGINE | RESULTS | {
        "dependencies", "length_text", "report", "reroute", "answers", "qgis_layer", "sharing", "history",
        "drain_edits"
    },
    "main": {"dependencies", "gui", "processing_algs"},
}
LINES = "plugin/network/lines.py"  # drawn lines as arrays: below everything that computes along them

PACKAGE_FILES = [path for path in sources.shipped_files() if path.parts[0] in ("plugin", "processing_algs")]


def part_of(path):
    """The entry of MAY_IMPORT a file belongs to: "network" for plugin/network/build.py, "units" for plugin/units.py."""
    if path.as_posix() == LINES:
        return "lines"
    if path.parts[0] == "processing_algs":
        return "processing_algs"
    return path.with_suffix("").parts[1]


def meant(paths, keep):
    return pytest.mark.parametrize("path", [path for path in paths if keep(path)], ids=lambda path: path.as_posix())


def is_marker(path):
    return path.as_posix() == "plugin/__init__.py"


def test_every_part_stands_in_the_table():
    parts = {part_of(path) for path in PACKAGE_FILES if not is_marker(path)}
    assert parts <= set(MAY_IMPORT), "say in MAY_IMPORT what a new part may import"


@meant(PACKAGE_FILES, lambda path: not is_marker(path))
def test_imports_point_one_way(path):
    """Those for annotations alone are left out: they load nothing."""
    part = part_of(path)
    used = [entry for entry in sources.imports_of(path) if entry.inside and not entry.for_types]
    targets = [(entry.line, sources.module_file(entry.target)) for entry in used]
    wrong = [
        f"{path}:{line}: {part} may not import {part_of(target)}"
        for line, target in targets
        if target.parts[0] in ("plugin", "processing_algs")
        and not is_marker(target)
        and part_of(target) not in MAY_IMPORT[part] | {part}
    ]
    assert not wrong, "\n".join(wrong)


@meant(PACKAGE_FILES, lambda path: is_marker(path) or part_of(path) not in MEETS_QGIS)
def test_the_engine_imports_its_libraries_and_nothing_else(path):
    allowed = ENGINE_LIBRARIES | set(sys.stdlib_module_names)
    wrong = [
        f"{path}:{entry.line}: {entry.target}"
        for entry in sources.imports_of(path)
        if not entry.inside and entry.top not in allowed
    ]
    assert not wrong, "\n".join(wrong)


@meant(PACKAGE_FILES, lambda path: True)
def test_inside_the_package_imports_are_relative(path):
    wrong = [
        f"{path}:{entry.line}: {entry.target}"
        for entry in sources.imports_of(path)
        if not entry.inside and entry.top in {"plugin", "processing_algs", "fallkeeper"}
    ]
    assert not wrong, "\n".join(wrong)


def test_what_qgis_loads_at_start_pulls_in_no_library():
    """QGIS must be able to load the plugin, and say what is missing, without any of its libraries."""
    chains = sources.loaded_with(Path("plugin/main.py"))
    assert Path("processing_algs/provider.py") in chains
    wrong = [
        f"{' -> '.join(step.as_posix() for step in chain)}:{entry.line}: {entry.target}"
        for reached, chain in chains.items()
        for entry in sources.imports_of(reached)
        if entry.at_load and not entry.inside and entry.top in ENGINE_LIBRARIES
    ]
    assert not wrong, "\n".join(wrong)


@meant(PACKAGE_FILES, lambda path: not is_marker(path) and part_of(path) in MEETS_QGIS)
def test_what_meets_qgis_uses_only_what_qgis_brings_besides_the_libraries(path):
    allowed = ENGINE_LIBRARIES | HOST | set(sys.stdlib_module_names)
    wrong = [
        f"{path}:{entry.line}: {entry.target}"
        for entry in sources.imports_of(path)
        if not entry.inside and entry.top not in allowed
    ]
    assert not wrong, "\n".join(wrong)
