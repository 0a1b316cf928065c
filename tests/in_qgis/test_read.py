"""Reading layers: in bulk and feature by feature alike; unknown stays unknown."""

import shutil

import geopandas
import numpy as np
import pandas
import pytest
import shapely
from fallkeeper.plugin.qgis_layer.arrow import is_plain, read_columns
from fallkeeper.plugin.qgis_layer.read import Frame, read_layer
from fallkeeper.plugin.tables import Drains
from fallkeeper.plugin.units import US_SURVEY_FOOT_M, Units
from qgis.core import QgsCoordinateTransformContext, QgsVectorLayer, QgsVectorLayerJoinInfo
from qgis_layers import layer

from fallkeeper.plugin.qgis_layer.sample import SAMPLE_FOLDER  # isort: skip

UNITS = Units("us", US_SURVEY_FOOT_M)


@pytest.fixture
def drains(tmp_path):
    """The drains of a copy of the sample: even looking may touch a GeoPackage."""
    copy = tmp_path / "copy.gpkg"
    shutil.copyfile(SAMPLE_FOLDER / "ossel_flats.gpkg", copy)
    return QgsVectorLayer(f"{copy}|layername=drains", "drains", "ogr")


def frame_of(source):
    return Frame(source.crs(), QgsCoordinateTransformContext(), UNITS)


def test_bulk_and_single_features_are_the_same(qgis_app, drains):
    bulk = read_layer(drains, "drains", frame_of(drains), plain_source=drains.source())
    single = read_layer(drains, "drains", frame_of(drains))
    assert bulk.index.tolist() == single.index.tolist()
    of_bulk, of_single = vars(Drains.from_frame(bulk)), vars(Drains.from_frame(single))
    for name in set(of_bulk) - {"geometry"}:
        np.testing.assert_array_equal(of_bulk[name], of_single[name], err_msg=name)
    assert shapely.equals_exact(bulk.geometry.values, single.geometry.values).all()


def test_bulk_reading_really_happened(qgis_app, drains):
    columns = read_columns(drains.source(), ["drain_id", "spacing", "openings"])
    assert len(columns.numbers) == drains.featureCount()
    mains = columns.values["drain_id"] == "A-1"
    assert np.isnan(columns.values["spacing"][mains]).all()  # NULL is not 0
    assert (columns.values["spacing"][~np.isnan(columns.values["spacing"])] == 50).all()


def test_words_of_any_length_and_letter_are_kept_apart(qgis_app, tmp_path):
    names = ["", "Gr\u00fcne Wiese", "a", "main, the longer part", "main, the longer pary", None, "a", "\u6c34\u8def"]
    rows = [{"name": name, "geometry": shapely.LineString([(0, k), (9, k)])} for k, name in enumerate(names)]
    path = tmp_path / "words.gpkg"
    geopandas.GeoDataFrame(rows, crs="EPSG:3734").to_file(path, layer="drains")
    source = QgsVectorLayer(f"{path}|layername=drains", "drains", "ogr")
    read = read_layer(source, "drains", frame_of(source), plain_source=source.source())
    assert isinstance(read["name"].dtype, pandas.CategoricalDtype), "it was read in bulk"
    ids = [f"line {number}" for number in read.index]
    assert Drains.from_frame(read).name.tolist() == [name or own for name, own in zip(names, ids)]


def test_plain_file_is_plain(qgis_app, drains):
    assert is_plain(drains)


def test_filtered_layer_is_not(qgis_app, drains):
    drains.setSubsetString("\"role\" = 'main'")
    assert not is_plain(drains)


def test_layer_with_unsaved_edits_is_not(qgis_app, drains):
    drains.startEditing()
    assert is_plain(drains)
    drains.changeAttributeValue(1, drains.fields().lookupField("diameter"), 6.0)
    assert not is_plain(drains)
    drains.rollBack()


def test_joined_layer_is_not(qgis_app, drains):
    other = layer([{"key": "A-1", "colour": "blue", "geometry": shapely.Point(0, 0)}], "EPSG:3734")
    join = QgsVectorLayerJoinInfo()
    join.setJoinLayer(other)
    join.setJoinFieldName("key")
    join.setTargetFieldName("drain_id")
    drains.addJoin(join)
    assert not is_plain(drains)


def test_memory_layer_is_not(qgis_app):
    assert not is_plain(layer([{"geometry": shapely.LineString([(0, 0), (1, 1)])}], "EPSG:3734"))


def test_text_in_a_column_of_figures_is_unknown(qgis_app):
    rows = [{"diameter": "four", "geometry": shapely.LineString([(0, 0), (1, 1)])},
            {"diameter": "6", "geometry": shapely.LineString([(0, 0), (1, 1)])}]
    source = layer(rows, "EPSG:3734")
    read = read_layer(source, "drains", frame_of(source))
    assert np.isnan(read["diameter"].iloc[0])
    assert read["diameter"].iloc[1] == pytest.approx(6 * 0.0254)


def test_whole_number_key_in_a_real_column_has_no_point(qgis_app):
    source = layer([{"drain_id": 12.0, "geometry": shapely.LineString([(0, 0), (1, 1)])}], "EPSG:3734")
    assert read_layer(source, "drains", frame_of(source))["drain_id"].tolist() == ["12"]
