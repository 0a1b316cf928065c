"""verifyarchive through Processing: a table of what was found, numbers for models, and triggers put back."""

import sqlite3
from contextlib import closing

import pytest
from algorithm_runs import Heard, content_hash, refusal, run
from archives import copied_sample
from osgeo import gdal
from qgis.core import QgsProject, QgsVectorLayer

pytestmark = pytest.mark.usefixtures("provider")

NUMBERS = ("FAULT_COUNT", "MENDED_COUNT", "OPEN_COUNT", "GAP_COUNT")


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


def replaced(path):
    """The layer of drains replaced as a whole by another program that writes GeoPackages, and a layer lost."""
    held = gdal.OpenEx(str(path), gdal.OF_VECTOR)
    copy = gdal.GetDriverByName("Memory").Create("", 0, 0, 0)
    copy.CopyLayer(held.GetLayerByName("drains"), "drains")
    del held
    gdal.VectorTranslate(str(path), copy, accessMode="overwrite", layerName="drains")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("DROP TABLE tapes")


def numbers(ran):
    return tuple(ran[name] for name in NUMBERS)


def test_a_whole_archive(path):
    held = content_hash(path)
    ran = run("verifyarchive", ARCHIVE=str(path))
    assert numbers(ran) == (0, 0, 0, 0)
    assert ran.rows("OUTPUT") == []
    assert "The archive is whole: nothing was found." in ran.heard.infos
    assert content_hash(path) == held


def test_a_layer_replaced_by_another_program_is_watched_again(path):
    replaced(path)
    ran = run("verifyarchive", ARCHIVE=str(path), WHO="Ada")
    assert numbers(ran) == (2, 1, 1, 0)
    assert [(row["kind"], row["layer"], row["mended"]) for row in ran.rows("OUTPUT")] == [
        ("table", "tapes", "no"), ("trigger", "drains", "yes")
    ]
    assert "(tapes) is missing in the file" in ran.heard.warnings[0]
    layer = QgsVectorLayer(f"{path}|layername=drains", "x", "ogr")
    (row,) = [row for row in layer.getFeatures() if row["drain_id"] == "A-1"]
    assert layer.dataProvider().changeAttributeValues({row.id(): {layer.fields().indexOf("note"): "seen"}})
    with closing(sqlite3.connect(path)) as connection:
        told = connection.execute("SELECT layer, action, who, key FROM history ORDER BY seq DESC LIMIT 2").fetchall()
    assert told == [("drains", "update", None, "A-1"), ("drains", "gap", "Ada", None)]


def test_only_looked_at(path):
    replaced(path)
    held = content_hash(path)
    assert numbers(run("verifyarchive", ARCHIVE=str(path), MEND=False)) == (2, 0, 2, 0)
    assert content_hash(path) == held


def test_refused_in_a_sentence(path, tmp_path):
    assert "There is no file" in refusal("verifyarchive", ARCHIVE=str(tmp_path / "none.gpkg"))
    layer = QgsVectorLayer(f"{path}|layername=drains", "Drains", "ogr")
    QgsProject.instance().addMapLayer(layer)
    layer.startEditing()
    heard = Heard()
    refusal("verifyarchive", heard, ARCHIVE=str(path))
    assert "is in edit mode" in " ".join(heard.errors)
    layer.rollBack()
    QgsProject.instance().clear()


def test_canceled(path):
    heard = Heard()
    heard.cancel()
    with pytest.raises(Exception, match="Canceled, and nothing was changed"):
        run("verifyarchive", heard, ARCHIVE=str(path))


def test_its_numbers_are_there_without_a_table(path):
    import processing

    ran = processing.run("fallkeeper:verifyarchive", {"ARCHIVE": str(path)}, feedback=Heard())
    assert (ran["FAULT_COUNT"], ran["OUTPUT"]) == (0, None)
