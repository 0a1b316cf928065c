"""metadata.txt says what QGIS and its plugin repository ask for, and agrees with the rest of the project."""

import configparser
import re

import pytest
import sources


@pytest.fixture(scope="module")
def metadata():
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str
    parser.read_string((sources.ROOT / "metadata.txt").read_text(encoding="utf-8"))
    return dict(parser["general"])


def test_required_keys_are_there(metadata):
    required = "name description version qgisMinimumVersion author email about tracker repository".split()
    assert not [key for key in required if not metadata.get(key, "").strip()]
    assert "/" not in metadata["author"]
    assert "plugin" not in metadata["name"].lower()


def test_versions_of_qgis(metadata):
    assert metadata["qgisMinimumVersion"] == "3.22"
    assert metadata["qgisMaximumVersion"] == "4.99"
    assert "supportsQt6" not in metadata, "QGIS took this key back; the greatest version says it"


def test_processing_finds_the_provider(metadata):
    assert metadata["hasProcessingProvider"] == "yes"


def test_the_needed_packages_are_named(metadata):
    for package in ("numpy", "scipy", "shapely", "geopandas", "networkx"):
        assert package in metadata["about"]


def test_the_icon_is_there(metadata):
    assert (sources.ROOT / metadata["icon"]).read_text(encoding="utf-8").startswith("<svg")


def test_the_version_is_the_same_everywhere(metadata):
    project = (sources.ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert re.search(r'^version = "(.+)"$', project, re.MULTILINE).group(1) == metadata["version"]
    changes = (sources.ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert f"## {metadata['version']} " in changes


def test_the_licence_stands_where_the_repository_looks():
    licence = (sources.ROOT / "LICENSE").read_text(encoding="utf-8")
    assert "GNU GENERAL PUBLIC LICENSE" in licence and "Version 2, June 1991" in licence
