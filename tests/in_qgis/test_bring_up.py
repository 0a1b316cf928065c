"""Archives of older versions are brought up: real ones of each version, with what their users put in."""

import datetime
import gzip
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import pytest
from algorithm_runs import content_hash, refusal, run
from archives import copied_sample
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.blobs import line_wkb
from fallkeeper.plugin.history.bring_up import bring_up
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.history.verify import verify_archive
from fallkeeper.plugin.qgis_layer.archive import create_archive, open_layer
from fallkeeper.plugin.schema import LAYERS, SCHEMA_VERSION
from fallkeeper.plugin.schema.faults import ArchiveError
from permissions import permissions_hold
from qgis.core import QgsCoordinateReferenceSystem, QgsProject, QgsVectorLayer

pytestmark = pytest.mark.usefixtures("provider")

OLD = Path(__file__).resolve().parents[1] / "old_archives"
VERSIONS = (1, 2)
DAY = datetime.date(2026, 5, 1)
ODD = 0.1 + 0.2  # needs 17 digits


@pytest.fixture(params=VERSIONS)
def version(request):
    return request.param


@pytest.fixture
def path(version, tmp_path):
    """An archive of an older version with things of its user's own."""
    path = tmp_path / "county ü.gpkg"
    path.write_bytes(gzip.decompress((OLD / f"schema_{version}.gpkg.gz").read_bytes()))
    with closing(open_archive(path)) as connection:
        for statement in (
            "PRAGMA query_only = OFF",
            "ALTER TABLE drains ADD COLUMN \"Owner's no\" TEXT",
            "CREATE TABLE mine (a TEXT, b BLOB)",
            "INSERT INTO mine VALUES ('x', x'00FF')",
            "CREATE VIEW mains AS SELECT * FROM drains WHERE role = 'main'",
            "CREATE TRIGGER mine_too AFTER UPDATE ON drains BEGIN UPDATE mine SET a = NEW.drain_id; END",
            "UPDATE layer_styles SET styleQML = '<qgis mine=\"1\"/>' WHERE f_table_name = 'drains'",
            "UPDATE drains SET \"Owner's no\" = '7' WHERE drain_id = 'B-1'",
        ):
            connection.execute(statement)
        connection.execute("UPDATE drains SET invert_start = ?, invert_end = 1e-300 WHERE drain_id = 'B-1'", [ODD])
    return path


@pytest.fixture(scope="module")
def template(qgis_app, tmp_path_factory):
    path = tmp_path_factory.mktemp("new") / "new.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem("EPSG:3734"), "us")
    return path


def held(path, *names):
    """Every row of every table as stored, by table and column; doubles as their bytes."""
    with closing(sqlite3.connect(path)) as connection:
        tables = [name for (name,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'rtree%' AND name NOT LIKE 'sqlite%'"
        )]
        found = {}
        for table in names or tables:
            cursor = connection.execute(f'SELECT * FROM "{table}" ORDER BY 1')
            columns = [column[0] for column in cursor.description]
            found[table] = [{c: _exact(v) for c, v in zip(columns, row)} for row in cursor]
        return found


def _exact(value):
    return struct.pack("<d", value) if isinstance(value, float) else value


def entries(path):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT layer, action, who, why, batch FROM history ORDER BY seq").fetchall()


def test_everything_stays_and_what_is_new_is_there(path, version):
    before = held(path)
    entered = entries(path)
    ran = run("bringarchiveup", ARCHIVE=str(path), WHO="Ada")
    assert (ran["FROM_VERSION"], ran["TO_VERSION"]) == (version, SCHEMA_VERSION)
    after = held(path)
    for table, rows in before.items():
        if table not in ("archive", "history", "history_note", "gpkg_contents", "gpkg_ogr_contents"):
            told = [{column: row[column] for column in rows[0]} for row in after[table]] if rows else []
            assert all(row in told for row in rows), table
            assert table.startswith("gpkg") or table == "layer_styles" or len(told) == len(rows), table
    assert [r["schema_version"] for r in after["archive"]] == [SCHEMA_VERSION]
    assert all(row["replaced_by"] is None for row in after["drains"])
    assert after["history"][:len(before["history"])] == before["history"]
    (entry,) = entries(path)[len(entered):]
    assert entry[:3] == ("archive", "update", "Ada") and entry[4].startswith("update-")
    assert f"from schema {version} to {SCHEMA_VERSION}" in entry[3] and Path(ran["COPY"]).name in entry[3]
    assert verify_archive(path).faults == ()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        names = {name for (name,) in connection.execute("SELECT name FROM sqlite_master")}
        assert {"mine_too", "mains", "mine"} <= names and "history_rules_update" not in names


def test_the_copy_is_what_was_there_before_and_never_overwrites(path, version, template):
    before = held(path)
    taken = path.with_name(f"county ü (schema {version}, {DAY}).gpkg")
    taken.write_text("mine", encoding="utf-8")
    done = bring_up(path, template, "Ada", today=DAY)
    assert done.copy == path.with_name(f"county ü (schema {version}, {DAY} 2).gpkg")
    assert taken.read_text(encoding="utf-8") == "mine"
    assert held(done.copy) == before
    assert sorted(p.name for p in path.parent.iterdir()) == sorted([path.name, taken.name, done.copy.name])


def test_it_is_as_a_new_one_for_qgis_and_for_batches(path):
    run("bringarchiveup", ARCHIVE=str(path))
    for declared in LAYERS:
        layer = open_layer(path, declared.name)
        names = layer.fields().names()
        assert {field.name for field in declared.fields} <= set(names), declared.name
        if declared.geometry:
            assert layer.crs().authid() == "EPSG:3734", declared.name
    with archive_batch(path, "merge", "north", who="Bo") as batch:
        assert batch.put_back == []
        batch.insert("layout_lines", {"layout_id": "L"}, line_wkb([(2100000, 800000), (2100100, 800000)]))
        batch.update("drains", "B-1", {"replaced_by": "B-2"})
    assert [row[:3] for row in entries(path)[-2:]] == [("layout_lines", "insert", "Bo"), ("drains", "update", "Bo")]
    lines = open_layer(path, "layout_lines")
    assert lines.featureCount() == 1 and lines.extent().width() == 100
    assert len(list(lines.getFeatures(lines.extent()))) == 1  # by its spatial index
    assert "layout_line_id" in lines.attributeDisplayName(lines.fields().indexOf("layout_line_id")) or (
        lines.fields().field("layout_line_id").alias())


def test_an_open_layer_shows_the_new_column(path):
    layer = QgsVectorLayer(f"{path}|layername=drains", "Drains", "ogr")
    QgsProject.instance().addMapLayer(layer)
    try:
        assert "replaced_by" in layer.fields().names() or run("bringarchiveup", ARCHIVE=str(path))
        assert "replaced_by" in layer.fields().names()
    finally:
        QgsProject.instance().clear()


def test_up_to_date_or_newer_is_refused(qgis_app, tmp_path):
    path = copied_sample(tmp_path)
    assert "there is nothing to do" in refusal("bringarchiveup", ARCHIVE=str(path))
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE archive SET schema_version = 99")
    before = content_hash(path)
    assert "made by a newer Fallkeeper (schema 99" in refusal("bringarchiveup", ARCHIVE=str(path))
    assert content_hash(path) == before
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def unchanged_by(path, template, match, **how):
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match=match):
        bring_up(path, template, **how)
    assert path.read_bytes() == before
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_names_of_the_users_own_in_the_way(path, template):
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("CREATE TABLE layout_lines (a TEXT)")
    unchanged_by(path, template, "'layout_lines' of .* has no column 'layout_line_id'")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("DROP TABLE layout_lines")
        connection.execute("ALTER TABLE shots ADD COLUMN extra TEXT")
        connection.execute("ALTER TABLE tapes RENAME COLUMN side TO SIDE")
    unchanged_by(path, template, "has the column 'SIDE'")


def test_broken_off_in_the_middle_it_is_as_before(path, template, monkeypatch):
    unchanged_by(path, template, "Canceled", is_canceled=lambda: True)

    def full(*_):
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr("fallkeeper.plugin.history.bring_up._say", full)
    unchanged_by(path, template, "The disk is full")


def test_locked_by_somebody_else(path, template, monkeypatch):
    monkeypatch.setattr("fallkeeper.plugin.history.file.PATIENCE_S", 0.05)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ArchiveError, match="is being written by another program"):
            bring_up(path, template)
    assert [p.name for p in path.parent.iterdir()] == [path.name]


def test_read_only(path, template):
    path.parent.chmod(0o555)
    try:
        with permissions_hold():
            unchanged_by(path, template, "make the folder writable")
        path.parent.chmod(0o755)
        path.chmod(0o444)
        with permissions_hold():
            unchanged_by(path, template, "cannot be written")
    finally:
        path.parent.chmod(0o755)


def test_damaged(path, template):
    data = bytearray(path.read_bytes())
    with closing(sqlite3.connect(path)) as connection:
        page, root = connection.execute(
            "SELECT page_size, rootpage FROM pragma_page_size, sqlite_master WHERE name = 'land'").fetchone()
    data[(root - 1) * page:(root - 1) * page + 200] = bytes(200)
    path.write_bytes(data)
    unchanged_by(path, template, "is damaged")


def test_others_name_the_way(path):
    with pytest.raises(ArchiveError, match="Bring archive up to date"), archive_batch(path, "x", "y"):
        pass
    (fault,) = verify_archive(path).faults
    assert "Bring archive up to date" in fault.sentence
    with closing(open_archive(path)) as connection:
        assert trigger_faults(connection)
