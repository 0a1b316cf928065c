"""archiveat of an archive in a database: what was known before is drawn into a file."""

import shutil
import sqlite3
import time
from contextlib import closing

import pytest
from algorithm_runs import run
from archives import SAMPLE
from database_places import new_place
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.copy_to_database import copy_to_database
from fallkeeper.plugin.schema import LAYERS
from fallkeeper.plugin.schema.kept_rows import well_known_binary
from qgis.core import QgsGeometry
from qgis.PyQt.QtCore import QDateTime

pytestmark = pytest.mark.usefixtures("provider")


def rows(path):
    """Rows of all layers but those about the file itself, by column, geometries as plain binary."""
    with closing(sqlite3.connect(path)) as file:
        held = {}
        for one in LAYERS:
            if one.name not in ("archive", "history"):
                found = file.execute(f'SELECT * FROM "{one.name}" ORDER BY 1')
                names = [column[0] for column in found.description]
                held[one.name] = [
                    {n: well_known_binary(v) if n == "geom" and v else v for n, v in zip(names, row)} for row in found
                ]
        return held


def test_what_a_database_knew_before_is_drawn(database_server, tmp_path):
    path = shutil.copyfile(SAMPLE, tmp_path / "sample.gpkg")
    place = new_place(database_server, "county")
    copy_to_database(path, place)
    before = QDateTime.currentDateTime()
    time.sleep(0.01)
    drains = open_layer(place, "drains")
    assert drains.startEditing()
    number, gone, renamed = (next(f.id() for f in drains.getFeatures() if f["drain_id"] == key)
                             for key in ("A-1", "B-1", "F1-01"))
    drains.changeAttributeValue(number, drains.fields().indexOf("diameter"), 0.1 + 0.2)
    drains.changeGeometry(number, QgsGeometry.fromWkt("LINESTRING (2100000 800000, 2100100.125 800000)"))
    drains.changeAttributeValue(renamed, drains.fields().indexOf("drain_id"), "F1-01 b")
    drains.deleteFeature(gone)
    assert drains.commitChanges(), drains.commitErrors()
    ran = run("archiveat", ARCHIVE=drains, KNOWN_ON=before, OUTPUT=str(tmp_path / "before.gpkg"))
    assert ran["CHANGES_SINCE"] >= 3
    assert rows(tmp_path / "before.gpkg") == rows(path)
    now = run("archiveat", ARCHIVE=drains, OUTPUT=str(tmp_path / "now.gpkg"))
    assert now["CHANGES_SINCE"] == 0
    keys = {row["drain_id"]: row for row in rows(tmp_path / "now.gpkg")["drains"]}
    assert keys["A-1"]["diameter"] == 0.1 + 0.2 and "B-1" not in keys and "F1-01 b" in keys
    with closing(sqlite3.connect(tmp_path / "before.gpkg")) as file:
        (note,) = file.execute("SELECT note FROM archive").fetchone()
        assert "Drawn from the schema 'county' of " in note
        assert trigger_faults(file) == []
