"""Earlier states, drawn as archives of their own."""

import datetime
import json
import sqlite3
from contextlib import closing

import pytest
from archives import bare_archive, copied_sample, dump, insert
from fallkeeper.plugin.history.as_of import draw_archive
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.blobs import line_wkb
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.past import entry_at, rows_at
from fallkeeper.plugin.history.progress import CanceledError, Progress
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.schema.faults import ArchiveError
from fallkeeper.plugin.schema.history import logged_layers

HERE = line_wkb([(2100000, 800000), (2100100, 800000)])
UTC = datetime.timezone.utc


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


@pytest.fixture
def to(path):
    return path.with_name("as it was.gpkg")


def moment():
    """A moment after all that was done so far and before what is done next."""
    at = datetime.datetime.now(UTC)
    while datetime.datetime.now(UTC) - at < datetime.timedelta(milliseconds=4):
        pass
    return at + datetime.timedelta(milliseconds=2)


def layers(path):
    """Every row but those about the file itself, and but the history."""
    return {name: rows for name, rows in dump(path).items() if name not in ("archive", "history")}


def change(path, kind="repair"):
    with archive_batch(path, kind, "why", who="Ada") as batch:
        batch.update("drains", "A-1", {"status": "abandoned", "drain_id": "A-1 old"})
        batch.insert("drains", {"drain_id": "R1", "role": "main"}, HERE)
        batch.delete("landmarks", "L1")
    return batch.id


def test_an_earlier_state_is_drawn_whole_and_the_archive_stays(path, to):
    before, at = layers(path), moment()
    change(path)
    now, seen = path.read_bytes(), moment()
    change_count = draw_archive(path, to, known_on=at).changes_since
    assert change_count == 3
    assert layers(to) == before
    assert path.read_bytes() == now
    again = to.with_name("now.gpkg")
    assert draw_archive(path, again, known_on=seen).changes_since == 0
    assert layers(again) == layers(path)
    assert sorted(file.name for file in path.parent.iterdir()) == ["as it was.gpkg", "now.gpkg", "ossel flats.gpkg"]


def test_the_drawing_is_an_archive_of_its_own(path, to):
    at = moment()
    later = change(path)
    drawn = draw_archive(path, to, known_on=at)
    assert drawn.rows["drains"] == 155
    assert set(drawn.rows) == {layer.name for layer in logged_layers()}
    with closing(open_archive(to, write=True)) as connection:
        assert trigger_faults(connection) == []
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        name, note = connection.execute("SELECT name, note FROM archive").fetchone()
        assert connection.execute("SELECT count(*) FROM rtree_drains_geom").fetchone() == (155,)
        assert connection.execute("SELECT rtreecheck('rtree_drains_geom')").fetchone() == ("ok",)
        assert connection.execute("SELECT count(*) FROM history WHERE batch = ?", [later]).fetchone() == (0,)
        assert connection.execute("SELECT count(*) FROM layer_styles").fetchone()[0] > 10
    assert f"(as known on {at:%Y-%m-%d %H:%M})" in name
    assert "Drawn from ossel flats.gpkg" in note
    change(to)  # its history goes on


# a day, and what the drawing makes of pipe with this status, first and last day
GROUND_CASES = [
    ("in_ground", None, None, "in_ground"),
    (None, None, None, None),
    ("in_ground", "2026-05-10", None, "in_ground"),
    ("in_ground", "2026-05-11", None, "left out"),
    ("abandoned", None, "2026-05-10", "in_ground"),
    ("abandoned", None, "2026-05-09", "abandoned"),
    ("abandoned", None, None, "abandoned"),
    ("removed", None, "2026-05-10", "in_ground"),
    ("removed", None, "2026-05-09", "left out"),
    ("removed", None, None, "removed"),
    ("abandoned", "2026-05-11", "2026-06-01", "left out"),
    ("proposed", None, None, "left out"),
    (None, None, "2026-05-09", "abandoned"),
    (None, None, "2026-05-10", None),
]


def test_what_was_in_the_ground_on_a_day(path, to):
    with archive_batch(path, "test", "") as batch:
        for place, (status, first, last, _) in enumerate(GROUND_CASES):
            values = {"drain_id": f"G{place}", "role": "main", "status": status, "in_ground_from": first,
                      "in_ground_to": last}
            batch.insert("drains", values, HERE)
        batch.insert("drains", {"drain_id": "laid later", "role": "main", "installed_on": "2026-05-11"}, HERE)
    drawn = draw_archive(path, to, day=datetime.date(2026, 5, 10))
    with closing(sqlite3.connect(to)) as connection:
        status = dict(connection.execute("SELECT drain_id, status FROM drains"))
    assert [status.get(f"G{place}", "left out") for place in range(len(GROUND_CASES))] == [
        wanted for *_, wanted in GROUND_CASES
    ]
    assert "laid later" not in status
    (caution,) = drawn.cautions
    assert caution.startswith("2 drains are abandoned or removed without a last day")


def test_a_repair_keeps_the_old_pipe(path, to):
    """A37: day 110 the old pipe, day 140 the new one and the old as abandoned."""
    start = datetime.date(2026, 1, 1)
    day = {number: start + datetime.timedelta(days=number - 1) for number in (110, 129, 130, 140)}
    with archive_batch(path, "repair", "roots at the hall, call C-1", who="Ada") as batch:
        batch.update("drains", "A-1", {"status": "abandoned", "in_ground_to": day[129]})
        batch.insert("drains", {"drain_id": "R1", "role": "main", "status": "in_ground", "in_ground_from": day[130]},
                     HERE)
    seen = {}
    for number in (110, 140):
        drawing = to.with_name(f"day {number}.gpkg")
        draw_archive(path, drawing, day=day[number])
        with closing(sqlite3.connect(drawing)) as connection:
            seen[number] = dict(connection.execute("SELECT drain_id, status FROM drains"))
            told = connection.execute("SELECT DISTINCT who, why FROM history WHERE batch = ?", [batch.id]).fetchall()
        assert told == [("Ada", "roots at the hall, call C-1")]
    assert (seen[110]["A-1"], seen[110].get("R1")) == ("in_ground", None)
    assert (seen[140]["A-1"], seen[140]["R1"]) == ("abandoned", "in_ground")


def test_gaps_and_a_history_that_begins_later_are_told(path, to):
    at = moment()
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("DROP TRIGGER drains_history_update")
    change(path)
    cautions = draw_archive(path, to, known_on=at).cautions
    assert any("The triggers of 'Drains (tile)' (drains) were missing" in caution for caution in cautions)
    long_ago = datetime.datetime(1950, 1, 1, tzinfo=UTC)
    drawn = draw_archive(path, to.with_name("1950.gpkg"), known_on=long_ago)
    assert any("The history begins later" in caution for caution in drawn.cautions)


def test_refused_in_a_sentence_with_nothing_left(path, to):
    to.write_text("something of mine", encoding="utf-8")
    with pytest.raises(ArchiveError, match="exists already: nothing is overwritten"):
        draw_archive(path, to)
    assert to.read_text(encoding="utf-8") == "something of mine"
    to.unlink()
    with pytest.raises(ArchiveError, match="There is no file"):
        draw_archive(path.with_name("nowhere.gpkg"), to)
    with pytest.raises(ArchiveError, match=r"The folder .* does not exist"):
        draw_archive(path, path.parent / "none" / "x.gpkg")
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE archive SET schema_version = 1")
    with pytest.raises(ArchiveError, match="an archive of an older version"):
        draw_archive(path, to)
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize("asked", range(1, 9, 3))
def test_canceled_at_any_time_leaves_nothing(path, to, asked):
    at = moment()
    change(path)
    answers = iter([False] * asked)
    with pytest.raises(CanceledError):
        draw_archive(path, to, known_on=at, progress=Progress(is_canceled=lambda: next(answers, True)))
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_an_archive_that_others_have_open_for_writing_ahead_is_drawn(path, to):
    """QGIS keeps a GeoPackage in WAL mode while a layer is open."""
    with closing(sqlite3.connect(path)) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("SELECT count(*) FROM drains").fetchall()
        before, at = layers(path), moment()
        change(path)
        draw_archive(path, to, known_on=at)
    assert layers(to) == before
    assert not to.with_name(to.name + "-wal").exists()


@pytest.mark.parametrize(
    ("times", "asked", "entry"),
    [
        ("1234", "0", 0), ("1234", "2", 2), ("1234", "9", 4), ("1224", "2", 3), ("", "5", 0),
        ("1294", "3", 2),  # one clock was ahead
        ("3456012789", "5", 7),  # one was set back, and what was done then stands where it stands
        ("34567801", "8", 8),
    ],
)
def test_the_entry_of_a_moment_also_where_clocks_were_wrong(times, asked, entry):
    with closing(bare_archive("landmarks")) as db:
        db.execute("DROP TRIGGER history_kept_insert")
        for time in times:
            db.execute("INSERT INTO history (layer, key, action, at) VALUES ('landmarks', 'K', 'insert', ?)",
                       [f"2026-01-0{int(time) + 1}T00:00:00.000Z" if time != "9" else "2026-01-10T00:00:00.000Z"])
        day = int(asked) + 1
        assert entry_at(db, datetime.datetime(2026, 1, day, tzinfo=UTC)) == entry


def test_rows_of_a_database_that_was_copied_into_a_file_come_back_as_stored():
    """A database keeps plain well-known binary in its history."""
    with closing(bare_archive("landmarks")) as db:
        insert(db, "landmarks")
        db.execute("INSERT INTO gpkg_geometry_columns VALUES ('landmarks', 3734)")
        (now,) = rows_at(db, "landmarks", 99)
        db.execute("DROP TRIGGER landmarks_history_delete")
        db.execute("DELETE FROM landmarks")
        before = json.dumps({"fid": 1, "geom": now["geom"][8:].hex().upper(), "landmark_id": "K1"})
        db.execute(
            "INSERT INTO history (layer, key, action, before) VALUES ('landmarks', 'K1', 'delete', ?)", [before]
        )
        (row,) = rows_at(db, "landmarks", 1)
    assert row["geom"] == now["geom"]
