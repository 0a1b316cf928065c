"""One transaction, one batch: all or nothing, with who and why, and every refusal a sentence."""

import datetime
import shutil
import sqlite3
from contextlib import closing

import pytest
from archives import copied_sample, dump
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.blobs import box_of, line_places, line_wkb, point_wkb, stored
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.schema.faults import ArchiveError
from fallkeeper.plugin.schema.history import logged_layers

SPOT = point_wkb((2100000, 800000))
HERE = line_wkb([(2100000, 800000), (2100100, 800000)])
IN_USE = "is being written by another program"


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


def history(path, after=0):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(
            "SELECT layer, key, action, batch, who, why FROM history WHERE seq > ? ORDER BY seq", [after]
        ).fetchall()


def last(path):
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT max(seq) FROM history").fetchone()[0]


def test_all_rows_of_a_batch_say_who_why_and_which(path):
    before = last(path)
    with archive_batch(path, "merge", "north field", who="Ada") as batch:
        key = batch.insert("drains", {"role": "lateral", "sock": True, "spacing": float("nan")}, HERE)
        batch.update("drains", "A-1", {"note": "seen", "installed_on": datetime.date(1962, 5, 1)})
        batch.delete("landmarks", "L1")
        shot = batch.insert("shots", {"elevation": 696.1, "of": "invert", "drain_id": key}, SPOT)
    assert batch.id.startswith("merge-")
    named = (batch.id, "Ada", "north field")
    assert history(path, before) == [
        ("drains", key, "insert", *named), ("drains", "A-1", "update", *named), ("landmarks", "L1", "delete", *named),
        ("shots", shot, "insert", *named),
    ]
    with closing(sqlite3.connect(path)) as connection:
        row = connection.execute("SELECT sock, spacing, edited_by FROM drains WHERE drain_id = ?", [key]).fetchone()
        assert row == (1, None, "Ada")
        query = "SELECT note, installed_on, edited_by FROM drains WHERE drain_id = 'A-1'"
        assert connection.execute(query).fetchone() == ("seen", "1962-05-01", "Ada")
        assert connection.execute("SELECT batch, who, why, replacing FROM history_note").fetchall() == [
            (None, None, None, 0)
        ]
        # the GeoPackage knows of the row: count, spatial index, extent
        counts = connection.execute(
            "SELECT count(*) FROM rtree_drains_geom UNION ALL SELECT count(*) FROM drains"
        ).fetchall()
        assert counts == [(156,), (156,)]


def test_the_extent_grows_with_what_is_added(path):
    with archive_batch(path, "merge", "") as batch:
        batch.insert("drains", {"role": "main"}, line_wkb([(2090000, 790000), (2090010, 790000)]))
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute(
            "SELECT min_x, min_y FROM gpkg_contents WHERE table_name = 'drains'"
        ).fetchone() == (2090000, 790000)


@pytest.mark.parametrize("fault", [KeyboardInterrupt, ValueError, GeneratorExit])
def test_any_exception_takes_everything_back(path, fault):
    before = dump(path)
    with pytest.raises(fault), archive_batch(path, "merge", "") as batch:
        batch.delete("drains", "A-1")
        raise fault
    assert dump(path) == before


def test_a_row_the_rules_refuse_takes_everything_back_with_their_sentence(path):
    before = dump(path)
    with pytest.raises(ArchiveError, match="Role is not known: use lateral"), archive_batch(path, "merge", "") as batch:
        batch.delete("landmarks", "L1")
        batch.insert("drains", {"role": "x"}, HERE)
    assert dump(path) == before


def test_a_row_that_is_not_there_is_named(path):
    for change in (lambda batch: batch.update("drains", "Z", {"note": "x"}), lambda batch: batch.delete("drains", "Z")):
        with pytest.raises(ArchiveError, match="There is no drain 'Z'"), archive_batch(path, "merge", "") as batch:
            change(batch)


def test_unknown_fields_and_layers_without_keys_are_program_faults(path):
    with pytest.raises(KeyError, match="no field colour"), archive_batch(path, "merge", "") as batch:
        batch.insert("drains", {"colour": "red"}, HERE)
    with pytest.raises(KeyError, match="have no key"), archive_batch(path, "merge", "") as batch:
        batch.delete("limits", "#1")


def test_two_batches_have_different_ids(path):
    ids = set()
    for _ in range(3):
        with archive_batch(path, "repair", "") as batch:
            ids.add(batch.id)
    assert len(ids) == 3


def test_a_file_locked_by_another_client_is_a_sentence(path, monkeypatch):
    monkeypatch.setattr("fallkeeper.plugin.history.file.PATIENCE_S", 0.05)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(ArchiveError, match=IN_USE), archive_batch(path, "x", ""):
            pytest.fail("got in")
        other.execute("ROLLBACK")
    with archive_batch(path, "x", ""):
        pass


def test_a_reader_that_does_not_let_go_is_a_sentence(path, monkeypatch):
    """The commit itself waits for readers, and then takes everything back."""
    monkeypatch.setattr("fallkeeper.plugin.history.file.PATIENCE_S", 0.05)
    before = dump(path)
    with closing(sqlite3.connect(path)) as other:
        reading = other.execute("SELECT * FROM drains")
        reading.fetchone()
        with pytest.raises(ArchiveError, match=IN_USE), archive_batch(path, "x", "") as b:
            b.delete("drains", "A-1")
        reading.close()
    assert dump(path) == before


def test_a_full_disk_is_a_sentence(path):
    before = dump(path)
    with pytest.raises(ArchiveError, match="The disk is full: nothing was changed"), archive_batch(path, "x", "") as b:
        pages = b.connection.execute("PRAGMA page_count").fetchone()[0]
        b.connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        for _ in range(2000):
            b.insert("landmarks", {"name": "x" * 500}, SPOT)
    assert dump(path) == before


def test_damaged_and_foreign_files_are_sentences(path, tmp_path):
    with pytest.raises(ArchiveError, match="There is no file"):
        open_archive(tmp_path / "nowhere.gpkg")
    other = tmp_path / "other.gpkg"
    other.write_bytes(b"something else" * 100)
    with pytest.raises(ArchiveError, match="is damaged or no GeoPackage"):
        open_archive(other)
    with closing(sqlite3.connect(tmp_path / "roads.gpkg")) as connection:
        connection.execute("CREATE TABLE roads (fid INTEGER)")
    with pytest.raises(ArchiveError, match="is no archive of Fallkeeper"):
        open_archive(tmp_path / "roads.gpkg")
    damaged = tmp_path / "damaged.gpkg"
    data = bytearray(path.read_bytes())
    data[4096:] = bytes(len(data) - 4096)
    damaged.write_bytes(data)
    with pytest.raises(ArchiveError, match="is damaged"):
        open_archive(damaged)


@pytest.mark.parametrize(
    ("version", "sentence"), [(99, "made by a newer Fallkeeper"), (1, "an archive of an older version")]
)
def test_another_version_is_read_not_written(path, version, sentence):
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE archive SET schema_version = ?", [version])
    open_archive(path).close()
    with pytest.raises(ArchiveError, match=sentence):
        open_archive(path, write=True)


def test_reading_changes_no_byte(path):
    before = path.read_bytes()
    with closing(open_archive(path)) as connection:
        assert trigger_faults(connection) == []
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            connection.execute("DELETE FROM drains")
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_missing_triggers_are_put_back_first_and_the_gap_is_told(path):
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("DROP TRIGGER drains_history_update")
        connection.execute("DROP TRIGGER land_rules_update")
        connection.execute("ALTER TABLE trees ADD COLUMN height REAL")
    before = last(path)
    with archive_batch(path, "x", "y") as batch:
        batch.update("drains", "A-1", {"note": "seen"})
    said = " ".join(batch.put_back)
    assert "The triggers of 'Drains (tile)' (drains) were missing" in said
    assert "The triggers that keep the rules of 'Land' (land) were missing" in said
    assert "'Trees' (trees) was given columns that its history did not keep (height)" in said
    assert [row[:4] for row in history(path, before)] == [
        ("drains", None, "gap", None), ("land", None, None, None), ("trees", None, "gap", None),
        ("drains", "A-1", "update", batch.id),
    ]
    with closing(open_archive(path)) as connection:
        assert trigger_faults(connection) == []


def test_every_dropped_trigger_is_missed(path):
    with closing(sqlite3.connect(path)) as connection:
        names = [name for (name,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' "
            "AND (name LIKE '%_rules_%' OR name LIKE '%history_%') AND name NOT LIKE 'trigger_%'"
        )]
    assert len(names) == 7 * len(logged_layers()) + 4
    for name in names:
        other = path.with_name("other.gpkg")
        shutil.copyfile(path, other)
        with closing(sqlite3.connect(other)) as connection:
            connection.execute(f"DROP TRIGGER {name}")
        with closing(open_archive(other)) as connection:
            assert len(trigger_faults(connection)) == 1, name


def test_a_lost_note_is_made_anew(path):
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("DELETE FROM history_note")
    with archive_batch(path, "x", "y") as batch:
        batch.update("drains", "A-1", {"note": "seen"})
    assert history(path)[-1] == ("drains", "A-1", "update", batch.id, None, "y")


@pytest.mark.parametrize(
    ("wkb", "box"),
    [
        ("LINESTRING (0 1, 5 3, 2 9)", (0, 1, 5, 9)),
        ("POINT (3 4)", (3, 4, 3, 4)),
        ("POLYGON ((0 0, 4 0, 4 4, 0 0), (1 1, 2 1, 2 2, 1 1))", (0, 0, 4, 4)),
        ("MULTIPOINT (1 1, 2 5)", (1, 1, 2, 5)),
        ("LINESTRING Z (0 1 9, 5 3 9)", (0, 1, 5, 3)),
        ("POINT EMPTY", None),
        ("LINESTRING EMPTY", None),
    ],
)
@pytest.mark.parametrize("order", [0, 1])
def test_boxes_are_those_of_another_library(wkb, box, order):
    import shapely

    data = shapely.to_wkb(shapely.from_wkt(wkb), byte_order=order, flavor="iso")
    assert box_of(stored(data, 3734)) == box


def test_lines_come_back_from_what_is_stored():
    places = [(0.1, 1e6), (2.0, 3.0), (1e-9, 4.0)]
    assert line_places(stored(line_wkb(places), 3734)) == places
