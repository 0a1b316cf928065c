"""Whether an archive is whole: every fault is found and said, what can be mended is, and a whole one has none."""

import datetime
import sqlite3
from contextlib import closing

import pytest
from archives import copied_sample, dump
from fallkeeper.plugin.history.as_of import draw_archive
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.blobs import line_wkb
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.past import rows_at
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.history.verify import CanceledError, verify_archive
from fallkeeper.plugin.schema.faults import ArchiveError
from permissions import permissions_hold

HERE = line_wkb([(2100000, 800000), (2100100, 800000)])


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


def by_hand(path, *statements):
    with closing(open_archive(path)) as connection:
        connection.execute("PRAGMA query_only = OFF")
        for statement in statements:
            connection.execute(statement)


def replaced(path, *columns, kinds=None):
    """The table of drains replaced as a whole, as another program does: same rows, no triggers, no constraints."""
    with closing(sqlite3.connect(path)) as connection:
        made = {row[1]: row[2] for row in connection.execute("PRAGMA table_info(drains)")}
    names = ", ".join(columns or made)
    wanted = ", ".join(f"{name} {(kinds or {}).get(name, made[name])}" for name in columns or made)
    by_hand(path, f"CREATE TABLE other ({wanted})", f"INSERT INTO other SELECT {names} FROM drains",
            "DROP TABLE drains", "ALTER TABLE other RENAME TO drains")


def unlogged(path, *statements):
    """Rows changed past the triggers, which are there again afterwards."""
    with closing(sqlite3.connect(path)) as connection:
        kept = connection.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'drains_%' OR name LIKE "
            "'trigger_%drains%' OR name LIKE 'rtree_drains_geom_%' AND type = 'trigger'"
        ).fetchall()
    by_hand(path, *(f"DROP TRIGGER {name}" for name, _ in kept), *statements, *(sql for _, sql in kept))


def told(verified):
    return [(fault.kind, fault.layer, fault.mended) for fault in verified.faults]


def entries(path):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT layer, action, who, why, batch FROM history ORDER BY seq").fetchall()


def last(path):
    return len(entries(path))


def test_a_whole_archive_has_no_fault_and_is_not_touched(path):
    with archive_batch(path, "merge", "more", who="Ada") as batch:
        key = batch.insert("drains", {"drain_id": "N1", "role": "main"}, HERE)
        batch.update("drains", key, {"drain_id": "N2"})
        batch.delete("drains", "N2")
        batch.insert("drains", {"drain_id": "N1", "role": "main"}, HERE)
    by_hand(path, "INSERT OR REPLACE INTO landmarks (geom, landmark_id) SELECT geom, landmark_id FROM landmarks")
    held = path.read_bytes()
    assert verify_archive(path, "Ada").faults == ()
    assert path.read_bytes() == held


def test_a_table_replaced_as_a_whole_gets_its_triggers_back_and_it_is_logged(path):
    replaced(path)
    before, rows = last(path), dump(path)
    verified = verify_archive(path, "Ada")
    assert told(verified) == [("trigger", "drains", True)]
    assert "The triggers of 'Drains (tile)' (drains) were missing" in verified.faults[0].sentence
    (entry,) = entries(path)[before:]
    assert entry[:3] == ("drains", "gap", "Ada")
    assert entry[3].startswith(verified.faults[0].sentence)
    after = dump(path)
    assert {name: after[name] for name in after if name != "history"} == {
        name: rows[name] for name in rows if name != "history"
    }
    assert verify_archive(path).faults == ()
    by_hand(path, "UPDATE drains SET note = 'x' WHERE drain_id = 'A-1'")
    assert entries(path)[-1][:2] == ("drains", "update")


def test_an_added_column_is_kept_from_then_on(path):
    by_hand(path, "ALTER TABLE drains ADD COLUMN owner_no TEXT", "UPDATE drains SET owner_no = '7'")
    assert told(verify_archive(path)) == [("trigger", "drains", True)]
    seq = last(path)
    by_hand(path, "UPDATE drains SET owner_no = '8' WHERE drain_id = 'A-1'")
    with closing(open_archive(path)) as connection:
        (row,) = [row for row in rows_at(connection, "drains", seq) if row["drain_id"] == "A-1"]
    assert row["owner_no"] == "7"


@pytest.mark.parametrize("name", ["drains_rules_insert", "history_kept_delete", "shots_history_pushed_by_insert"])
def test_a_single_trigger_that_is_missing_or_changed(path, name):
    layer = name.split("_")[0]
    by_hand(path, f"DROP TRIGGER {name}")
    before = last(path)
    assert told(verify_archive(path, "Ada")) == [("trigger", layer, True)]
    assert [row[0] for row in entries(path)[before:]] == [layer]
    by_hand(path, f"DROP TRIGGER {name}", f"CREATE TRIGGER {name} AFTER INSERT ON {layer} BEGIN SELECT 1; END")
    assert told(verify_archive(path, "Ada")) == [("trigger", layer, True)]
    assert verify_archive(path).faults == ()


def test_a_missing_table_and_a_missing_column(path):
    replaced(path, "fid", "geom", "drain_id", "role", "name", "diameter")
    by_hand(path, "DROP TABLE tapes")
    verified = verify_archive(path)
    assert told(verified) == [
        ("column", "drains", True), ("table", "tapes", False), ("trigger", "drains", True)
    ]
    assert "lacked status, material, openings" in verified.faults[0].sentence
    assert "The layer 'Tape figures' (tapes) is missing" in verified.faults[1].sentence
    by_hand(path, "UPDATE drains SET status = 'abandoned' WHERE drain_id = 'A-1'")
    assert entries(path)[-1][:2] == ("drains", "update")
    assert told(verify_archive(path)) == [("table", "tapes", False)]


def test_a_column_that_a_row_must_have_is_not_made_up(path):
    replaced(path, "fid", "geom", "name", "role")
    verified = verify_archive(path)
    assert ("column", "drains", False) in told(verified)
    assert "Until drain_id is there nothing can be written" in verified.faults[0].sentence


def test_a_column_of_another_kind_and_another_reference_system(path):
    replaced(path, kinds={"diameter": "TEXT", "installed_on": "TEXT"})
    by_hand(path, "UPDATE gpkg_geometry_columns SET srs_id = 4326 WHERE table_name = 'shots'")
    verified = verify_archive(path)
    sentences = [fault.sentence for fault in verified.faults if fault.kind == "column"]
    assert "diameter (text, should be real), installed_on (text, should be date)" in sentences[0]
    assert "another coordinate reference system" in sentences[1]
    assert not any(fault.mended for fault in verified.faults if fault.kind == "column")


def test_rows_without_a_key_or_with_the_same(path):
    replaced(path)
    by_hand(path, "UPDATE drains SET drain_id = ' ' WHERE drain_id IN ('F1-14', 'F1-15')",
            "UPDATE drains SET drain_id = 'A-1' WHERE drain_id = 'F1-16'")
    faults = [fault for fault in verify_archive(path).faults if fault.kind == "key"]
    assert [fault.mended for fault in faults] == [False, False]
    assert "holds 2 rows without a key (drain_id)" in faults[0].sentence
    assert "holds 1 key more than once, first 'A-1' (2 rows)" in faults[1].sentence


def test_rows_that_came_or_went_past_the_triggers_are_a_gap(path):
    with archive_batch(path, "merge", "more") as batch:
        for name in ("N1", "N2", "N3", "N4"):
            batch.insert("drains", {"drain_id": name, "role": "main"}, HERE)
        batch.delete("drains", "N2")
    unlogged(path, "DELETE FROM drains WHERE drain_id IN ('N1', 'N3')",
             "UPDATE drains SET drain_id = 'N2' WHERE drain_id = 'N4'")
    before = last(path)
    verified = verify_archive(path, "Ada")
    assert told(verified) == [("gap", "drains", True)]
    assert "3 rows gone without an entry (N1, N3, N4) and 1 row added without an entry (N2)" in (
        verified.faults[0].sentence)
    assert [row[:3] for row in entries(path)[before:]] == [("drains", "gap", "Ada")]
    assert verify_archive(path).faults == ()


def test_an_entry_that_does_not_follow_from_the_last_is_a_gap(path):
    with archive_batch(path, "merge", "more") as batch:
        batch.insert("drains", {"drain_id": "N1", "role": "main"}, HERE)
    unlogged(path, "DELETE FROM drains WHERE drain_id = 'N1'")
    with archive_batch(path, "merge", "again") as batch:
        batch.insert("drains", {"drain_id": "N1", "role": "main"}, HERE)
    verified = verify_archive(path, "Ada", mend=False)
    assert told(verified) == [("gap", "drains", False)]
    assert "1 row gone without an entry (N1)" in verified.faults[0].sentence


def test_a_read_only_archive_is_only_told_about(path):
    replaced(path)
    held = path.read_bytes()
    path.chmod(0o444)
    path.parent.chmod(0o555)
    try:
        with permissions_hold():
            verified = verify_archive(path, "Ada")
    finally:
        path.parent.chmod(0o755)
    assert told(verified) == [("trigger", "drains", False)]
    assert "cannot be written" in verified.not_mended
    assert path.read_bytes() == held


def test_an_archive_that_somebody_else_is_writing_is_only_told_about(path, monkeypatch):
    monkeypatch.setattr("fallkeeper.plugin.history.file.PATIENCE_S", 0.05)
    by_hand(path, "DROP TRIGGER drains_rules_insert")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        verified = verify_archive(path)
    assert told(verified) == [("trigger", "drains", False)]
    assert "is being written by another program" in verified.not_mended


def test_a_damaged_file_is_said_and_left_alone(path):
    with closing(sqlite3.connect(path)) as connection:
        page_size, root = connection.execute(
            "SELECT page_size, rootpage FROM pragma_page_size, sqlite_master WHERE name = 'land'").fetchone()
    by_hand(path, "DROP TRIGGER drains_rules_insert")
    with path.open("r+b") as file:
        file.seek((root - 1) * page_size)
        file.write(b"\0" * 200)
    held = path.read_bytes()
    verified = verify_archive(path)
    assert told(verified) == [("file", "", False)]
    assert "is damaged" in verified.faults[0].sentence
    assert path.read_bytes() == held


def test_a_file_cut_short_or_no_archive_is_refused(path, tmp_path):
    short = tmp_path / "short.gpkg"
    short.write_bytes(path.read_bytes()[:50_000])
    with pytest.raises(ArchiveError, match="is damaged"):
        verified = verify_archive(short)
        raise ArchiveError(verified.faults[0].sentence)
    with pytest.raises(ArchiveError, match="There is no file"):
        verify_archive(tmp_path / "none.gpkg")
    with closing(sqlite3.connect(tmp_path / "other.gpkg")) as other:
        other.execute("CREATE TABLE drains (x)")
    with pytest.raises(ArchiveError, match="is no archive"):
        verify_archive(tmp_path / "other.gpkg")


@pytest.mark.parametrize("version", [1, 2])
def test_an_older_version_is_said(path, version):
    by_hand(path, f"UPDATE archive SET schema_version = {version}", "DROP TRIGGER drains_rules_insert")
    verified = verify_archive(path)
    assert told(verified) == [("schema", "archive", False)]
    assert f"(schema {version}, now 3)" in verified.faults[0].sentence


def test_a_newer_version_is_refused(path):
    by_hand(path, "UPDATE archive SET schema_version = 99")
    with pytest.raises(ArchiveError, match="made by a newer Fallkeeper"):
        verify_archive(path)


def test_canceled_changes_nothing(path):
    replaced(path)
    held = path.read_bytes()
    with pytest.raises(CanceledError):
        verify_archive(path, is_canceled=lambda: True)
    assert path.read_bytes() == held


@pytest.mark.parametrize("name", ["shots", "layout_lines", "limits"])
def test_a_missing_layer_does_not_break_the_look(path, name):
    by_hand(path, f"DROP TABLE {name}")
    assert told(verify_archive(path)) == [("table", name, False)]
    with closing(open_archive(path)) as connection:
        assert trigger_faults(connection) == []


def test_a_drawing_of_a_day_is_whole(path, tmp_path):
    with archive_batch(path, "merge", "more") as batch:
        batch.insert("drains", {"drain_id": "N1", "role": "main", "status": "proposed"}, HERE)
    draw_archive(path, tmp_path / "day.gpkg", datetime.date(2026, 5, 1))
    assert verify_archive(tmp_path / "day.gpkg").faults == ()
