"""The sample project: it opens as it is shipped, holds the county told about, and is built the same every time."""

import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from fallkeeper.plugin.qgis_layer.archive import ArchiveError
from fallkeeper.plugin.qgis_layer.sample import SAMPLE_FOLDER, copy_sample
from fallkeeper.plugin.schema import LAYERS
from fallkeeper.sample_project.rows import ORIGIN_FT, ground_ft, layer_rows
from osgeo import gdal
from permissions import permissions_hold
from qgis.core import Qgis, QgsCoordinateReferenceSystem, QgsProject, QgsVectorLayer

FILES = {"ossel_flats.qgz", "ossel_flats.gpkg", "ossel_flats_results.gpkg", "ground.tif"}
REBUILD = "run sample_project/build_sample.py with QGIS 3.22 and commit what it makes"


@pytest.fixture
def project(qgis_new_project, tmp_path):
    """The sample opened from a copy in a folder with a blank and an umlaut."""
    opened = QgsProject.instance()
    assert opened.read(str(copy_sample(tmp_path / "my sämple")))
    yield opened
    opened.clear()


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The sample built twice, each time by a fresh Python."""
    folders = [tmp_path_factory.mktemp(f"build_{number}") for number in (1, 2)]
    for folder in folders:
        command = [sys.executable, str(SAMPLE_FOLDER / "build_sample.py"), str(folder)]
        subprocess.run(command, check=True, capture_output=True, timeout=300, env={**os.environ, "LC_ALL": "C.UTF-8"})
    return folders


def test_every_layer_opens(project):
    layers = project.mapLayers().values()
    assert {layer.name() for layer in layers} == {declared.title for declared in LAYERS} | {
        "Ground", "Fall of the pipes", "Suspect pipe", "Suspect places"
    }
    assert all(layer.isValid() for layer in layers)
    assert project.crs().authid() == "EPSG:3734"
    assert project.title() == "Ossel Flats"


def test_the_way_to_longitude_and_latitude_needs_no_grid(project):
    """QGIS warns at opening where the best way it knows needs a file that is not there."""
    way = project.transformContext().calculateCoordinateOperation(
        project.crs(), QgsCoordinateReferenceSystem("EPSG:4326")
    )
    assert way and "grids" not in way


def test_the_county_is_complete(project):
    for name, rows in layer_rows().items():
        declared = next(one for one in LAYERS if one.name == name)
        assert project.mapLayersByName(declared.title)[0].featureCount() == len(rows)
    drains = list(project.mapLayersByName("Drains (tile)")[0].getFeatures())
    laterals = [drain for drain in drains if drain["role"] == "lateral"]
    assert (len(drains), len(laterals)) == (155, 150)
    assert sum(drain.geometry().length() * drain["spacing"] for drain in laterals) / 43_560 == pytest.approx(150)


def test_paths_are_relative_and_nothing_tells_whose_machine_made_it(project):
    with zipfile.ZipFile(SAMPLE_FOLDER / "ossel_flats.qgz") as packed:
        text = packed.read("ossel_flats.qgs").decode("utf-8")
    sources = set(re.findall(r"<datasource>([^<|]+)", text))
    assert sources == {"./ossel_flats.gpkg", "./ossel_flats_results.gpkg", "./ground.tif"}
    assert "saveUser" not in text
    assert "/tmp" not in text
    assert str(Path.home()) not in text


def test_themes_show_what_they_are_called_after(project):
    themes = project.mapThemeCollection()
    shown = {name: {layer.name() for layer in themes.mapThemeVisibleLayers(name)} for name in themes.mapThemes()}
    assert set(shown) == {"Pipes", "Fall", "Suspects"}
    assert {"Drains (tile)", "Readings", "Calls"} <= shown["Pipes"]
    assert "Fall of the pipes" in shown["Fall"]
    assert "Drains (tile)" not in shown["Fall"]
    assert {"Suspect pipe", "Suspect places", "Drains (tile)"} <= shown["Suspects"]
    root = project.layerTreeRoot()
    visible = {layer.name() for layer in root.checkedLayers()}
    assert visible == shown["Pipes"]
    records = {name: themes.mapThemeState(name).layerRecords() for name in themes.mapThemes()}
    explained = {
        name: {record.layer().name() for record in layers if record.expandedLayerNode}
        for name, layers in records.items()
    }
    assert explained == {
        "Pipes": set(), "Fall": {"Fall of the pipes"}, "Suspects": {"Suspect pipe", "Suspect places"}
    }


def test_rows_that_belong_together_are_related(project):
    pairs = {
        (relation.referencingLayer().name(), relation.referencedLayer().name(), *relation.fieldPairs().items())
        for relation in project.relationManager().relations().values()
        if relation.isValid()
    }
    assert ("Level shots", "Drains (tile)", ("drain_id", "drain_id")) in pairs
    assert ("Readings", "Calls", ("call_id", "call_id")) in pairs
    assert ("Tape figures", "Landmarks", ("toward_id", "landmark_id")) in pairs
    assert len(pairs) == 11
    calls = project.mapLayersByName("Calls")[0]
    tabs = [tab.name() for tab in calls.editFormConfig().tabs()]
    assert tabs == ["Main", "Job", "Note", "Readings", "Repairs"]
    call = next(calls.getFeatures("\"call_id\" = 'C-1'"))
    of_call = next(r for r in project.relationManager().relations().values() if r.name() == "Readings")
    assert len(list(of_call.getRelatedFeatures(call))) == 7


def test_editing_is_set_up(project):
    assert project.topologicalEditing()
    snapping = project.snappingConfig()
    assert snapping.enabled()
    on = {layer.name() for layer, how in snapping.individualLayerSettings().items() if how.enabled()}
    assert {"Drains (tile)", "Structures and joints"} <= on
    assert "Land" not in on
    assert project.mapLayersByName("History")[0].readOnly()
    assert len(project.bookmarkManager().bookmarks()) == 5


def test_edits_stay_in_the_copy(project, tmp_path):
    drains = project.mapLayersByName("Drains (tile)")[0]
    assert str(tmp_path) in drains.source()
    assert drains.startEditing()
    first = next(drains.getFeatures())
    assert drains.changeAttributeValue(first.id(), drains.fields().indexOf("note"), "checked")
    assert drains.commitChanges(), drains.commitErrors()


def test_a_copy_overwrites_nothing(tmp_path):
    copied = copy_sample(tmp_path / "a")
    assert {file.name for file in copied.parent.iterdir()} == FILES
    with pytest.raises(ArchiveError, match=r"already holds ground\.tif: nothing is overwritten"):
        copy_sample(tmp_path / "a")


def test_ground_between_cell_centres_is_the_formula(qgis_app):
    image = gdal.Open(str(SAMPLE_FOLDER / "ground.tif"))
    west, cell, _, north, _, _ = image.GetGeoTransform()
    heights = image.ReadAsArray().astype(float)
    rng = np.random.default_rng(1)
    x = np.concatenate([rng.uniform(-100, 5100, 500), [1000, 2500, 4000, 999, 1001, 2499, 2501]])
    y = np.concatenate([rng.uniform(-100, 2400, 500), [0, 5, 905, 1075, 2250, 12.3, 2000]])
    column = (x + ORIGIN_FT[0] - west) / cell - 0.5
    row = (north - y - ORIGIN_FT[1]) / cell - 0.5
    c, r = np.floor(column).astype(int), np.floor(row).astype(int)
    u, v = column - c, row - r
    sampled = (heights[r, c] * (1 - u) + heights[r, c + 1] * u) * (1 - v)
    sampled += (heights[r + 1, c] * (1 - u) + heights[r + 1, c + 1] * u) * v
    told = np.array([ground_ft(*place) for place in zip(x, y)])
    assert np.abs(sampled - told).max() < 0.0002


def test_two_builds_are_the_same_to_the_byte(built):
    first, second = built
    assert {file.name for file in first.iterdir()} == FILES
    for name in FILES:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name


def test_the_shipped_files_are_what_the_builder_makes(built):
    """Their content on every QGIS, so that no finding shown is an old one; to the byte on the QGIS they came from."""
    for name in ("ossel_flats.gpkg", "ossel_flats_results.gpkg"):
        assert _content(SAMPLE_FOLDER / name) == _content(built[0] / name), REBUILD
    if Qgis.QGIS_VERSION_INT // 100 == 322:
        for name in ("ossel_flats.gpkg", "ground.tif"):
            assert (SAMPLE_FOLDER / name).read_bytes() == (built[0] / name).read_bytes(), REBUILD


def _content(path):
    """Layer -> its rows with geometry."""
    layers = {}
    source = QgsVectorLayer(str(path), "all", "ogr")
    for sublayer in source.dataProvider().subLayers():
        name = sublayer.split("!!::!!")[1]
        table = QgsVectorLayer(f"{path}|layername={name}", name, "ogr")
        layers[name] = [
            [str(value) for value in feature.attributes()] + [feature.geometry().asWkt(3)]
            for feature in table.getFeatures()
        ]
    return layers


def test_the_shipped_archive_opens_where_nothing_can_be_written(qgis_app, tmp_path):
    for name in FILES:
        shutil.copy(SAMPLE_FOLDER / name, tmp_path)
        (tmp_path / name).chmod(0o444)
    tmp_path.chmod(0o555)
    try:
        with permissions_hold():
            drains = QgsVectorLayer(f"{tmp_path / 'ossel_flats.gpkg'}|layername=drains", "drains", "ogr")
            assert drains.featureCount() == 155
            assert drains.labelsEnabled()
            del drains
            assert {file.name for file in tmp_path.iterdir()} == FILES
    finally:
        tmp_path.chmod(0o755)
