"""A copy for the field, edited by any app, and back again: nothing is lost, both sides' changes are told apart."""

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from algorithm_runs import Heard, provided
from database_places import new_place
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.archive_edit import user_name
from fallkeeper.plugin.qgis_layer.copy_to_database import copy_to_database
from fallkeeper.processing_algs.field_copy import CHOICES
from osgeo import ogr
from qgis.core import (
    NULL,
    QgsFeature,
    QgsGeometry,
    QgsProcessingException,
    QgsProject,
    QgsVectorLayer,
    QgsVectorLayerUtils,
)

SAMPLE = Path(__file__).resolve().parents[2] / "sample_project" / "ossel_flats.gpkg"
NAMES = ("drains", "shots", "structures", "trees", "tree_rows", "woods", "landmarks", "calls", "readings", "tapes",
         "repairs")


@pytest.fixture(params=["file", "database"])
def place(qgis_app, request, tmp_path):
    folder = tmp_path / "office"
    folder.mkdir()
    path = Path(shutil.copy(SAMPLE, folder / "ossel flats.gpkg"))
    if request.param == "file":
        return path
    made = new_place(request.getfixturevalue("database_server"), "ossel flats")
    copy_to_database(path, made)
    return made


@pytest.fixture
def office(qgis_processing, place):
    """Runs the algorithms on the archive."""
    import processing

    archive = open_layer(place, "drains")

    class Office:
        heard = None

        def take(self, path, **parameters):
            return processing.run("fallkeeper:fieldcopy", {"ARCHIVE": archive, "OUTPUT": str(path), **parameters})

        def bring(self, path, **parameters):
            self.heard = Heard()
            asked = {"ARCHIVE": archive, "COPY": str(path), "CHANGES": "TEMPORARY_OUTPUT", **parameters}
            result = processing.run("fallkeeper:fieldreturn", asked, feedback=self.heard)
            names = ("layer", "key", "what", "field", "before", "archive", "copy", "outcome")
            result["rows"] = [tuple(row[name] for name in names) for row in result["CHANGES"].getFeatures()]
            return result

    with provided():
        yield Office()


@pytest.fixture
def copy(office, tmp_path):
    """A copy as it came back, in a folder of its own."""
    folder = tmp_path / "phone"
    folder.mkdir()
    office.take(folder / "crew 1.gpkg")
    return folder / "crew 1.gpkg"


def field_edit(path, statements):
    """Edits through plain GDAL, as an app without QGIS makes them."""
    source = ogr.Open(str(path), 1)
    for statement in statements:
        source.ExecuteSQL(statement)
    source = None


def row_of(place, name, key_field, key):
    return next(open_layer(place, name).getFeatures(f"\"{key_field}\" = '{key}'"), None)


def change(place, key, **values):
    """Somebody edits the archive in the office."""
    drains = open_layer(place, "drains")
    drains.startEditing()
    number = row_of(place, "drains", "drain_id", key).id()
    for name, value in values.items():
        drains.changeAttributeValue(number, drains.fields().indexOf(name), value)
    assert drains.commitChanges(), drains.commitErrors()


# The copy


def test_the_copy_holds_all_rows_and_no_trigger_of_ours(copy, place):
    with closing(sqlite3.connect(copy)) as file:
        triggers = [name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")]
        for name in NAMES:
            (count,) = file.execute(f'SELECT count(*) FROM "{name}"').fetchone()
            assert count == open_layer(place, name).featureCount(), name
            kept = file.execute("SELECT count(*) FROM fallkeeper_field_base WHERE layer = ?", (name,)).fetchone()
            assert kept == (count,)
        assert "land" not in {name for (name,) in file.execute("SELECT table_name FROM gpkg_contents")}
    assert all(name.startswith(("rtree_", "gpkg_", "trigger_")) for name in triggers), triggers


def test_map_programs_list_the_layers_and_nothing_else(copy):
    source = ogr.Open(str(copy))
    listed = {source.GetLayer(index).GetName() for index in range(source.GetLayerCount())}
    assert listed - {"layer_styles"} == set(NAMES)


def test_forms_lists_and_keys_come_along(copy):
    drains = QgsVectorLayer(f"{copy}|layername=drains", "drains", "ogr")
    role = drains.editorWidgetSetup(drains.fields().indexOf("role"))
    assert role.type() == "ValueMap"
    assert {"Lateral": "lateral"} in role.config()["map"]
    assert drains.attributeAlias(drains.fields().indexOf("diameter")) == "Inside diameter (in)"
    assert drains.renderer().type() == "RuleRenderer"
    drains.startEditing()
    new = QgsVectorLayerUtils.createFeature(drains, QgsGeometry.fromWkt("LineString(0 0, 1 1)"))
    assert len(new["drain_id"]) == 36
    readings = QgsVectorLayer(f"{copy}|layername=readings", "readings", "ogr")
    photo = readings.editorWidgetSetup(readings.fields().indexOf("photo"))
    assert (photo.type(), photo.config()["RelativeStorage"]) == ("ExternalResource", 1)


WITHOUT_PLUGIN = """
import sys
from qgis.core import QgsApplication, QgsProject

def main():
    application = QgsApplication([], False)
    application.initQgis()
    project = QgsProject.instance()
    assert project.read({project!r})
    layers = {{layer.name(): layer for layer in project.mapLayers().values()}}
    assert all(layer.isValid() for layer in layers.values())
    drains = layers["Drains (tile)"]
    assert drains.startEditing()
    row = next(drains.getFeatures("drain_id = 'F1-01'"))
    drains.changeAttributeValue(row.id(), drains.fields().indexOf("note"), "seen")
    assert drains.commitChanges(), drains.commitErrors()
    print(len(layers), len(project.relationManager().relations()))
    layers.clear()
    del drains, row
    project.clear()
    application.exitQgis()

main()
"""


def test_the_project_opens_from_another_folder_without_the_plugin(copy, tmp_path):
    moved = tmp_path / "another phone"
    shutil.copytree(copy.parent, moved)
    script = WITHOUT_PLUGIN.format(project=str(moved / "crew 1.qgz"))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [str(len(NAMES)), "6"]
    with closing(sqlite3.connect(moved / "crew 1.gpkg")) as file:
        assert file.execute("SELECT note FROM drains WHERE drain_id = 'F1-01'").fetchone() == ("seen",)


def test_layers_and_an_area_can_be_chosen(office, tmp_path, place):
    path = tmp_path / "small.gpkg"
    box = row_of(place, "drains", "drain_id", "F1-01").geometry().boundingBox()
    result = office.take(path, LAYERS=[0, 3], EXTENT=f"{box.xMinimum()},{box.xMaximum()},{box.yMinimum() - 1},"
                                                     f"{box.yMaximum() + 1} [EPSG:3734]")
    drains = open_layer(path, "drains")
    assert 1 <= drains.featureCount() < 20
    assert result["ROW_COUNT"] == drains.featureCount() + open_layer(path, "land").featureCount()
    back = office.bring(path)
    assert (back["CHANGE_COUNT"], back["CONFLICT_COUNT"]) == (0, 0)


def test_nothing_is_overwritten_by_a_copy(office, copy, tmp_path):
    with pytest.raises(QgsProcessingException, match="exists already: nothing is overwritten"):
        office.take(copy)
    (tmp_path / "x.qgz").write_bytes(b"mine")
    with pytest.raises(QgsProcessingException, match="x.qgz exists already"):
        office.take(tmp_path / "x.gpkg")
    assert (tmp_path / "x.qgz").read_bytes() == b"mine"
    assert not (tmp_path / "x.gpkg").exists()


# Back again


def test_an_untouched_copy_brings_nothing(office, copy):
    result = office.bring(copy, WRITE=True)
    assert [result[name] for name in ("CHANGE_COUNT", "CONFLICT_COUNT", "REFUSED_COUNT", "WRITTEN")] == [0, 0, 0, 0]
    assert result["rows"] == []


def test_changes_of_the_field_are_looked_at_first_and_then_written_as_one_batch(office, copy, place):
    field_edit(copy, [
        "UPDATE drains SET diameter = 6.1, note = 'dug up' WHERE drain_id = 'F1-01'",
        "DELETE FROM drains WHERE drain_id = 'F1-02'",
        "INSERT INTO readings (reading_id, kind, geom) SELECT 'R-new', 'wet_ground', geom FROM structures LIMIT 1",
        "INSERT INTO readings (kind, geom) SELECT 'boil', geom FROM structures LIMIT 1",
    ])
    before = open_layer(place, "history").featureCount()
    dry = office.bring(copy)
    assert (dry["CHANGE_COUNT"], dry["WRITTEN"], dry["BATCH"]) == (4, 0, "")
    assert ("drains", "F1-01", "changed", "Inside diameter", "4", "4", "6.1", "can be written") in dry["rows"]
    assert ("drains", "F1-02", "deleted", "", "", "", "", "can be written") in dry["rows"]
    assert open_layer(place, "history").featureCount() == before
    done = office.bring(copy, WRITE=True)
    assert done["WRITTEN"] == 4
    assert row_of(place, "drains", "drain_id", "F1-01")["diameter"] == 6.1
    assert row_of(place, "drains", "drain_id", "F1-02") is None
    assert row_of(place, "readings", "reading_id", "R-new")["kind"] == "wet_ground"
    history = [row for row in open_layer(place, "history").getFeatures() if row["batch"] == done["BATCH"]]
    assert sorted((row["layer"], row["action"]) for row in history) == [
        ("drains", "delete"), ("drains", "update"), ("readings", "insert"), ("readings", "insert"),
    ]
    assert {row["why"] for row in history} == {"Back from the field: crew 1.gpkg"}
    again = office.bring(copy, WRITE=True)
    assert (again["CHANGE_COUNT"], again["CONFLICT_COUNT"], again["WRITTEN"]) == (0, 0, 0)


def test_what_both_sides_changed_is_listed_and_never_overwritten_silently(office, copy, place):
    field_edit(copy, ["UPDATE drains SET diameter = 6, note = 'field' WHERE drain_id = 'F1-01'",
                      "UPDATE drains SET note = 'field' WHERE drain_id = 'F1-02'",
                      "DELETE FROM drains WHERE drain_id = 'F1-03'"])
    change(place, "F1-01", diameter=8.0)
    change(place, "F1-02", material="clay")
    change(place, "F1-03", note="office")
    result = office.bring(copy, WRITE=True)
    assert (result["WRITTEN"], result["CONFLICT_COUNT"]) == (2, 2)
    conflicts = [row for row in result["rows"] if row[2] == "conflict"]
    assert conflicts == [
        ("drains", "F1-01", "conflict", "Inside diameter", "4", "8", "6", "the archive's stays"),
        ("drains", "F1-03", "conflict", "", "", "changed", "deleted", "the archive's stays"),
    ]
    assert office.heard.sentence_with("changed on both sides")
    row = row_of(place, "drains", "drain_id", "F1-01")
    assert (row["diameter"], row["note"]) == (8.0, "field")
    row = row_of(place, "drains", "drain_id", "F1-02")
    assert (row["material"], row["note"]) == ("clay", "field")
    assert row_of(place, "drains", "drain_id", "F1-03")["note"] == "office"
    office.bring(copy, WRITE=True, CONFLICTS="field")
    assert row_of(place, "drains", "drain_id", "F1-01")["diameter"] == 6.0
    assert row_of(place, "drains", "drain_id", "F1-03") is None


def test_a_row_the_office_deleted_comes_back_only_when_asked(office, copy, place):
    field_edit(copy, ["UPDATE drains SET note = 'field' WHERE drain_id = 'F1-01'"])
    drains = open_layer(place, "drains")
    drains.startEditing()
    drains.deleteFeature(row_of(place, "drains", "drain_id", "F1-01").id())
    assert drains.commitChanges()
    result = office.bring(copy, WRITE=True)
    assert (result["WRITTEN"], result["CONFLICT_COUNT"]) == (0, 1)
    office.bring(copy, WRITE=True, CONFLICTS="field")
    row = row_of(place, "drains", "drain_id", "F1-01")
    assert (row["note"], row["diameter"]) == ("field", 4.0)
    assert not row.geometry().isEmpty()


def test_a_moved_line_and_an_emptied_field_come_in_exactly(office, copy, place):
    moved = "LineString (2100000.1000000001 800000.30000000005, 2100099.7 800000.9)"
    drains = QgsVectorLayer(f"{copy}|layername=drains", "drains", "ogr")
    drains.startEditing()
    row = next(drains.getFeatures("drain_id = 'F1-01'"))
    drains.changeGeometry(row.id(), QgsGeometry.fromWkt(moved))
    drains.changeAttributeValue(row.id(), drains.fields().indexOf("diameter"), NULL)
    drains.changeAttributeValue(row.id(), drains.fields().indexOf("invert_start"), 0.1 + 0.2)
    assert drains.commitChanges()
    office.bring(copy, WRITE=True)
    row = row_of(place, "drains", "drain_id", "F1-01")
    assert bytes(row.geometry().asWkb()) == bytes(QgsGeometry.fromWkt(moved).asWkb())
    assert (row["diameter"], row["invert_start"]) == (NULL, 0.1 + 0.2)


def test_a_height_an_app_adds_is_left_out(office, copy, place):
    field_edit(copy, ["UPDATE gpkg_geometry_columns SET z = 2 WHERE table_name = 'structures'"])
    source = ogr.Open(str(copy), 1)
    table = source.GetLayerByName("structures")
    row = table.GetNextFeature()
    key = row["structure_id"]
    row.SetGeometry(ogr.CreateGeometryFromWkt("POINT Z (2100001 800002 7)"))
    assert table.SetFeature(row) == 0
    table = source = row = None
    assert office.bring(copy, WRITE=True)["WRITTEN"] == 1
    assert row_of(place, "structures", "structure_id", key).geometry().asWkt() == "Point (2100001 800002)"


def test_rows_that_break_a_rule_are_refused_with_its_sentence_and_the_others_go_in(office, copy, place):
    field_edit(copy, [
        "UPDATE drains SET role = 'ditch' WHERE drain_id = 'F1-01'",
        "UPDATE drains SET diameter = -4 WHERE drain_id = 'F1-02'",
        "UPDATE drains SET note = 'good' WHERE drain_id = 'F1-03'",
        "INSERT INTO structures (structure_id, kind) VALUES ('T-x', 'joint')",
        "INSERT INTO shots (shot_id, elevation, of, geom) SELECT 'S-x', 1.0, 'invert', geom FROM structures LIMIT 2",
    ])
    result = office.bring(copy, WRITE=True)
    refused = {row[1]: row[7] for row in result["rows"] if row[2] == "refused"}
    assert set(refused) == {"F1-01", "F1-02", "S-x", "T-x"}
    assert refused["F1-01"] == "Role is not known: use lateral, submain, main or outlet_pipe."
    assert refused["F1-02"] == "Inside diameter must be a number above 0; leave it empty if unknown."
    assert "must be drawn as one point" in refused["T-x"]
    assert "two rows of the copy have this key" in refused["S-x"]
    assert result["WRITTEN"] == 1
    assert row_of(place, "drains", "drain_id", "F1-03")["note"] == "good"
    assert row_of(place, "drains", "drain_id", "F1-01")["role"] == "lateral"


def test_photos_come_back_beside_the_archive(office, copy, place, tmp_path):
    (copy.parent / "DCIM").mkdir()
    (copy.parent / "DCIM" / "hole.jpg").write_bytes(b"picture")
    field_edit(copy, ["INSERT INTO readings (reading_id, kind, photo, geom) "
                      "SELECT 'R-p', 'roots', 'DCIM/hole.jpg', geom FROM structures LIMIT 1"])
    target = tmp_path / "pictures"
    target.mkdir()
    office.bring(copy)
    assert list(target.iterdir()) == []
    office.bring(copy, WRITE=True, PHOTOS=str(target))
    assert (target / "DCIM" / "hole.jpg").read_bytes() == b"picture"
    assert row_of(place, "readings", "reading_id", "R-p")["photo"] == "DCIM/hole.jpg"


def test_without_a_folder_photos_go_beside_a_file_over_nothing_and_stay_where_there_is_no_file(
    office, copy, place, tmp_path
):
    beside = tmp_path / "office"
    (copy.parent / "hole.jpg").write_bytes(b"from the field")
    (beside / "hole.jpg").write_bytes(b"of the office")
    field_edit(copy, ["INSERT INTO readings (reading_id, kind, photo, geom) "
                      "SELECT 'R-p', 'roots', 'hole.jpg', geom FROM structures LIMIT 1"])
    office.bring(copy, WRITE=True)
    assert (beside / "hole.jpg").read_bytes() == b"of the office"
    kept = row_of(place, "readings", "reading_id", "R-p")["photo"]
    if isinstance(place, Path):
        assert kept != "hole.jpg"
        assert (beside / kept).read_bytes() == b"from the field"
    else:
        assert kept == "hole.jpg"
        assert office.heard.sentence_with("Photos stay beside the copy")


def test_the_history_says_who_brought_it_back_and_the_row_who_did_it(office, copy, place):
    field_edit(copy, ["UPDATE drains SET note = 'dug up', edited_by = 'Crew 2' WHERE drain_id = 'F1-01'",
                      "DELETE FROM drains WHERE drain_id = 'F1-02'"])
    batch = office.bring(copy, WRITE=True)["BATCH"]
    assert row_of(place, "drains", "drain_id", "F1-01")["edited_by"] == "Crew 2"
    who = {row["key"]: row["who"] for row in open_layer(place, "history").getFeatures() if row["batch"] == batch}
    if isinstance(place, Path):
        assert who == dict.fromkeys(("F1-01", "F1-02"), user_name())
    else:
        assert who == {"F1-01": "Crew 2 (postgres)", "F1-02": "postgres"}


def test_a_place_that_is_gone_in_the_field_is_gone_in_the_archive_where_it_may_be(office, copy, place):
    field_edit(copy, ["UPDATE calls SET geom = NULL, about = 'by phone' WHERE fid = (SELECT min(fid) FROM calls)",
                      "UPDATE structures SET geom = NULL WHERE fid = (SELECT min(fid) FROM structures)"])
    result = office.bring(copy, WRITE=True)
    assert (result["WRITTEN"], result["REFUSED_COUNT"]) == (1, 1)
    gone = [row for row in open_layer(place, "calls").getFeatures() if row["about"] == "by phone"]
    assert [row.hasGeometry() for row in gone] == [False]
    assert all(row.hasGeometry() for row in open_layer(place, "structures").getFeatures())
    assert office.bring(copy)["CHANGE_COUNT"] == 0


def test_tables_without_places_can_be_taken_alone(office, tmp_path):
    office.take(tmp_path / "tables.gpkg", LAYERS=[CHOICES.index("tapes"), CHOICES.index("layouts")])
    assert (tmp_path / "tables.qgz").exists()


def test_a_layer_in_edit_mode_stops_the_writing_only(office, copy, place, qgis_new_project):
    field_edit(copy, ["UPDATE drains SET note = 'x' WHERE drain_id = 'F1-01'"])
    drains = open_layer(place, "drains")
    QgsProject.instance().addMapLayer(drains)
    drains.startEditing()
    assert office.bring(copy)["CHANGE_COUNT"] == 1
    with pytest.raises(QgsProcessingException):
        office.bring(copy, WRITE=True)
    assert any("is in edit mode" in error for error in office.heard.errors)
    drains.rollBack()
    QgsProject.instance().clear()


def test_a_change_between_looking_and_writing_takes_all_back(office, copy, place, monkeypatch):
    from fallkeeper.plugin.qgis_layer import field_copy_back

    field_edit(copy, ["UPDATE drains SET diameter = 6 WHERE drain_id = 'F1-01'",
                      "UPDATE drains SET note = 'x' WHERE drain_id = 'F1-02'"])
    write = field_copy_back.write_plan

    def meddle(*arguments):
        change(place, "F1-01", diameter=8.0)
        return write(*arguments)

    monkeypatch.setattr(field_copy_back, "write_plan", meddle)
    with pytest.raises(QgsProcessingException, match="'F1-01'.* as it was when this began"):
        office.bring(copy, WRITE=True)
    assert row_of(place, "drains", "drain_id", "F1-01")["diameter"] == 8.0
    assert row_of(place, "drains", "drain_id", "F1-02")["note"] == NULL


def test_a_copy_of_another_archive_and_a_file_that_is_none_are_refused(office, copy, place, tmp_path):
    with pytest.raises(QgsProcessingException, match="is no copy for the field"):
        office.bring(SAMPLE)
    (tmp_path / "x.gpkg").write_bytes(b"something else")
    with pytest.raises(QgsProcessingException, match=r"x\.gpkg"):
        office.bring(tmp_path / "x.gpkg")
    about = open_layer(place, "archive")
    about.startEditing()
    row = next(about.getFeatures())
    about.changeAttributeValue(row.id(), about.fields().indexOf("name"), "Renamed")
    assert about.commitChanges()
    office.bring(copy)
    assert office.heard.sentence_with("was called 'Ossel Flats'", "'Renamed'")
    about.startEditing()
    about.changeAttributeValue(row.id(), about.fields().indexOf("created_on"), "2001-01-01")
    assert about.commitChanges()
    with pytest.raises(QgsProcessingException, match="choose the archive it was taken from"):
        office.bring(copy, WRITE=True)


def test_a_layer_thrown_away_in_the_field_is_not_a_deletion_of_all_its_rows(office, copy, place):
    field_edit(copy, ["DROP TABLE shots"])
    result = office.bring(copy, WRITE=True)
    assert result["CHANGE_COUNT"] == 0
    assert office.heard.sentence_with("has no layer 'shots' any more")


def test_an_unsaved_feature_of_qgis_has_a_place_in_the_copy(copy):
    """QGIS itself, as an app of the field: forms fill in key and editor."""
    readings = QgsVectorLayer(f"{copy}|layername=readings", "readings", "ogr")
    readings.startEditing()
    new = QgsFeature(QgsVectorLayerUtils.createFeature(readings, QgsGeometry.fromWkt("Point(2100000 800000)")))
    new["kind"] = "boil"
    assert readings.addFeature(new)
    assert readings.commitChanges(), readings.commitErrors()
