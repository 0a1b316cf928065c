"""An archive moves from its file into a database and back: every row, number, key, digit and entry of the history."""

import shutil
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import pytest
from algorithm_runs import Heard, provided
from database_places import database_of, new_place, stored_connection
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.archive_error import ArchiveError
from fallkeeper.plugin.qgis_layer.archive_info import ArchiveInfo
from fallkeeper.plugin.qgis_layer.copy_to_database import copy_to_database
from fallkeeper.plugin.qgis_layer.copy_to_file import copy_to_file
from fallkeeper.plugin.qgis_layer.field_copy_file import make_field_copy
from fallkeeper.plugin.schema import LAYERS, SCHEMA_VERSION
from fallkeeper.plugin.schema.kept_rows import well_known_binary
from qgis.core import QgsProcessingException

SAMPLE = Path(__file__).resolve().parents[2] / "sample_project" / "ossel_flats.gpkg"
ODD_TEXT = "käse 🧀 'quoted' \"twice\" back\\slash\nline\ttab {brace} $do$ %s"


@pytest.fixture
def path(qgis_app, tmp_path):
    """The sample with odd values, a deleted row, a column and a table of somebody's own."""
    own = Path(shutil.copy(SAMPLE, tmp_path / "ossel flats.gpkg"))
    with closing(sqlite3.connect(own)) as file:
        for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
            file.create_function(name, 1, lambda blob: struct.unpack_from("<d", blob, 8)[0])
        file.create_function("ST_IsEmpty", 1, lambda blob: 0)
        file.execute("UPDATE drains SET invert_start = ?, invert_end = ?, note = ? WHERE drain_id = 'F1-01'",
                     (0.1 + 0.2, -1.2345678901234567e-300, ODD_TEXT))
        file.execute("UPDATE drains SET installed_on = '1962-05-01', sock = 1 WHERE drain_id = 'F1-02'")
        file.execute("DELETE FROM drains WHERE drain_id = 'F1-03'")
        file.execute("UPDATE drains SET drain_id = 'F1-04 renamed' WHERE drain_id = 'F1-04'")
        file.execute("INSERT INTO limits (name, value, unit) VALUES ('least_cover', 2.5, 'ft')")
        file.execute("INSERT INTO calls (geom, call_id, received_on) "
                     "SELECT geom, 'C9', '2024-05-01T10:11:12.250Z' FROM structures LIMIT 1")
        file.execute("INSERT INTO layouts (layout_id, name) VALUES ('L1', 'North field')")
        file.execute("INSERT INTO layout_lines "
                     "(geom, layout_line_id, layout_id, brought_as, class, done, drain_id, source) "
                     "SELECT geom, 'N1', 'L1', 'run 7', 'clean', 'take', drain_id, ? FROM drains LIMIT 1",
                     ('{"depth": 2.5000000000000004, "note": "käse \\"x\\""}',))
        file.execute("INSERT INTO layout_lines (layout_line_id, layout_id) VALUES ('N2', 'L1')")
        file.execute("ALTER TABLE drains ADD COLUMN colour TEXT")
        file.execute("ALTER TABLE drains ADD COLUMN tons REAL")
        file.execute("UPDATE drains SET colour = 'red', tons = 0.1 WHERE drain_id = 'F1-05'")
        file.commit()
    return own


def stored(path):
    """Everything in the tables of a file, geometries as plain binary; by column, since their order may differ."""
    with closing(sqlite3.connect(path)) as file:
        held = {}
        for one in LAYERS:
            found = file.execute(f'SELECT * FROM "{one.name}" ORDER BY 1')
            names = [column[0] for column in found.description]
            held[one.name] = [{n: _plain(n, value) for n, value in zip(names, row)} for row in found]
        return held


def _plain(name, value):
    """A time without the Z that says UTC: PostgreSQL keeps the time, not the letter."""
    if name == "geom" and value:
        return well_known_binary(value)
    return value.rstrip("Z") if name == "received_on" and value else value


def in_database(place, name):
    columns = [row[0] for row in place.rows(
        "SELECT attname FROM pg_attribute WHERE attrelid = {table}::regclass AND attnum > 0 AND NOT attisdropped "
        "ORDER BY attnum", table=f'"{place.schema}"."{name}"')]
    chosen = ", ".join("encode(ST_AsBinary(geom, 'NDR'), 'hex')" if c == "geom" else f'"{c}"::text' for c in columns)
    rows = place.rows(f'SELECT {chosen} FROM "{place.schema}"."{name}" t ORDER BY t.{columns[0]}')
    return [dict(zip(columns, row)) for row in rows]


def test_there_and_back_again_nothing_is_lost(path, database_server, tmp_path):
    before = stored(path)
    place, back = new_place(database_server, "ossel"), tmp_path / "back again.gpkg"
    copy_to_database(path, place)
    copy_to_file(place, back)
    after = stored(back)
    for name, rows in before.items():
        assert len(after[name]) == len(rows), name
        for was, now in zip(rows, after[name]):
            assert now == was, name
    assert stored(path) == before
    with closing(sqlite3.connect(back)) as file:
        assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert file.execute("SELECT count(*) FROM rtree_drains_geom").fetchone() == (len(after["drains"]),)


def test_values_in_the_database_are_those_of_the_file(path, database_server):
    place = new_place(database_server, "ossel")
    copy_to_database(path, place)
    before = stored(path)
    for name in ("drains", "limits", "calls", "history"):
        rows = in_database(place, name)
        assert len(rows) == len(before[name])
        for was, now in zip(before[name], rows):
            for column, value in was.items():
                if column == "geom":
                    assert now["geom"] == value.hex()
                elif isinstance(value, float):
                    assert float(now[column]) == value, (name, column)
                elif column == "received_on" and value:
                    assert now[column].replace(" ", "T") == value.rstrip("0").rstrip(".")
                else:
                    assert now[column] == (None if value is None else str(value)), (name, column)
    about = ArchiveInfo.beside(open_layer(place, "drains"))
    assert (about.units, [row["name"] for row in about.limits]) == ("us", ["least_cover"])


def test_work_goes_on_in_the_database_where_the_file_stopped(path, database_server):
    place = new_place(database_server, "ossel")
    copy_to_database(path, place)
    last = max(row["fid"] for row in stored(path)["drains"])
    seq = max(row["seq"] for row in stored(path)["history"])
    place.run([
        "INSERT INTO ossel.drains (geom, drain_id, role) SELECT geom, 'new', 'main' FROM ossel.drains LIMIT 1",
        "UPDATE ossel.drains SET colour = 'blue' WHERE drain_id = 'new'",
    ])
    assert place.rows("SELECT fid FROM ossel.drains WHERE drain_id = 'new'") == [[last + 1]]
    entries = place.rows(f"SELECT seq, action, before FROM ossel.history WHERE seq > {seq} ORDER BY seq")
    assert [(number, action) for number, action, _ in entries] == [(seq + 1, "insert"), (seq + 2, "update")]
    assert '"colour":null' in entries[1][2]
    with pytest.raises(ArchiveError, match="Role is not known"):
        place.run(["UPDATE ossel.drains SET role = 'x' WHERE drain_id = 'new'"])


def test_work_goes_on_in_the_file_where_the_database_stopped(path, database_server, tmp_path):
    place, back = new_place(database_server, "ossel"), tmp_path / "back.gpkg"
    copy_to_database(path, place)
    copy_to_file(place, back)
    seq = max(row["seq"] for row in stored(back)["history"])
    drains = open_layer(back, "drains")
    assert drains.renderer().type() == "RuleRenderer"
    drains.startEditing()
    row = next(drains.getFeatures("drain_id = 'F1-05'"))
    drains.changeAttributeValue(row.id(), drains.fields().indexOf("colour"), "blue")
    assert drains.commitChanges()
    last = stored(back)["history"][-1]
    assert (last["seq"], last["action"], last["key"]) == (seq + 1, "update", "F1-05")
    assert '"colour":"red"' in last["before"]
    drains.startEditing()
    drains.changeAttributeValue(row.id(), drains.fields().indexOf("role"), "x")
    assert not drains.commitChanges()
    drains.rollBack()


def test_a_change_while_it_is_copied_stops_the_copy(path, database_server, tmp_path):
    place, back = new_place(database_server, "ossel"), tmp_path / "back.gpkg"
    copy_to_database(path, place)

    def meddle(done, of_all):
        place.run(["UPDATE ossel.limits SET value = value + 1"])

    with pytest.raises(ArchiveError, match="Somebody changed the schema 'ossel' of .* run again"):
        copy_to_file(place, back, meddle)
    assert not list(tmp_path.glob("back*"))

    def meddle_in_file(done, of_all):
        with closing(sqlite3.connect(path)) as file, file:
            file.execute("UPDATE limits SET value = value + 1")

    other = new_place(database_server, "ossel")
    with pytest.raises(ArchiveError, match="Somebody changed .*ossel flats.gpkg"):
        copy_to_database(path, other, meddle_in_file)
    assert other.rows("SELECT count(*) FROM pg_namespace WHERE nspname = 'ossel'") == [[0]]


def test_a_server_gone_in_the_middle_leaves_file_and_database_as_they_were(path, database_server, tmp_path):
    before, place = stored(path), new_place(database_server, "ossel")
    stops = iter([False, True])

    def stop(done, of_all):
        if next(stops, False):
            database_server.stop()

    try:
        with pytest.raises(ArchiveError, match="nothing was changed"):
            copy_to_database(path, place, stop)
    finally:
        database_server.start()
    assert place.rows("SELECT count(*) FROM pg_namespace WHERE nspname = 'ossel'") == [[0]]
    assert stored(path) == before


def test_an_archive_of_another_version_is_not_copied(path, database_server):
    for version, words in ((1, "older version"), (99, "newer Fallkeeper")):
        with closing(sqlite3.connect(path)) as file, file:
            file.execute("UPDATE archive SET schema_version = ?", (version,))
        with pytest.raises(ArchiveError, match=words):
            copy_to_database(path, new_place(database_server, "ossel"))


def test_a_database_of_an_older_version_is_brought_up_by_way_of_a_file(path, database_server, tmp_path):
    """Version 1 had no layer for the lines of layouts, and no field for what replaced a drain."""
    place, brought_up = new_place(database_server, "ossel"), tmp_path / "brought up.gpkg"
    copy_to_database(path, place)
    place.run(["DROP TABLE ossel.layout_lines", "ALTER TABLE ossel.drains DROP COLUMN replaced_by",
               "UPDATE ossel.archive SET schema_version = 1"])
    with pytest.raises(ArchiveError, match=r"older version \(schema 1, now \d+\): run 'Copy archive to a file'"):
        make_field_copy(place, tmp_path / "crew.gpkg", ["drains"])
    copy_to_file(place, brought_up)
    before, after = stored(path), stored(brought_up)
    assert after["layout_lines"] == []
    assert after["archive"][0]["schema_version"] == SCHEMA_VERSION
    assert after["drains"] == before["drains"]
    assert len(after["history"]) == len(before["history"]) + 1  # the row about the archive
    again = new_place(database_server, "ossel again")
    copy_to_database(brought_up, again)
    again.run(['INSERT INTO "ossel again".layout_lines (layout_line_id, layout_id) VALUES (\'N3\', \'L1\')'])
    assert make_field_copy(again, tmp_path / "crew.gpkg", ["drains"])["drains"] == len(before["drains"])


def test_a_layer_that_is_missing_in_an_archive_of_this_version_stops_the_copy(path, database_server, tmp_path):
    place = new_place(database_server, "ossel")
    copy_to_database(path, place)
    place.run(["DROP TABLE ossel.shots"])
    with pytest.raises(ArchiveError, match="cannot open the layer 'shots'"):
        copy_to_file(place, tmp_path / "back.gpkg")
    assert not list(tmp_path.glob("back*"))


def test_the_algorithms_copy_there_and_back(path, qgis_processing, database_server, tmp_path):
    import processing

    with closing(sqlite3.connect(path)) as file, file:
        file.execute("CREATE TABLE roads (fid INTEGER PRIMARY KEY, name TEXT)")
        listed = "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES ('roads', 'attributes', 'r')"
        file.execute(listed)
    place, back, heard = new_place(database_server, "ossel"), tmp_path / "back.gpkg", Heard()
    with provided(), stored_connection(place) as name:
        database = {"CONNECTION": name, "SCHEMA": "ossel"}
        processing.run("fallkeeper:archivetodatabase", {"ARCHIVE": str(path), **database}, feedback=heard)
        assert heard.sentence_with("'roads'", "stays in the file")
        assert open_layer(place, "drains").renderer().type() == "RuleRenderer"
        assert place.rows("SELECT name FROM ossel.qgis_projects") == [["Fallkeeper"]]
        with pytest.raises(QgsProcessingException, match="already holds rows"):
            processing.run("fallkeeper:archivetodatabase", {"ARCHIVE": str(path), **database})
        processing.run("fallkeeper:archivetofile", {**database, "OUTPUT": str(back)})
        assert stored(back) == stored(path)
        with pytest.raises(QgsProcessingException, match="already holds rows"):
            processing.run("fallkeeper:archivetofile", {**database, "OUTPUT": str(back)})
    assert database_of(place)
