"""Taking back a batch or a day's work: exactly, or not at all with the reasons."""

import datetime
import sqlite3
from contextlib import closing

import pytest
from archives import copied_sample, dump
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.batches import last_batches
from fallkeeper.plugin.history.blobs import line_wkb, point_wkb
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.progress import CanceledError, Progress
from fallkeeper.plugin.history.undo import Chosen, look_at_undo, undo
from fallkeeper.plugin.schema.faults import ArchiveError

HERE = line_wkb([(2100000, 800000), (2100100, 800000)])
SPOT = point_wkb((2100000, 800000))


@pytest.fixture
def path(tmp_path):
    return copied_sample(tmp_path)


def rows(path):
    """Every row of every layer but the history."""
    return {name: held for name, held in dump(path).items() if name != "history"}


def edit(path, *statements):
    """Edits by hand, as another program makes them."""
    with closing(open_archive(path, write=True)) as connection:
        for statement in statements:
            connection.execute(statement)


def merge(path, who="Ada"):
    with archive_batch(path, "merge", "north field", who=who) as batch:
        batch.update("drains", "A-1", {"note": "seen", "diameter": 0.1 + 0.2}, HERE)
        batch.insert("drains", {"drain_id": "N1", "role": "lateral"}, HERE)
        batch.insert("shots", {"shot_id": "S-N1", "drain_id": "N1", "elevation": 696.1, "of": "invert"}, SPOT)
        batch.delete("landmarks", "L1")
    return batch.id


def done(result):
    return sorted((row.layer, row.key, row.change) for row in result.rows)


MERGED = [("drains", "A-1", "changed back"), ("drains", "N1", "taken out"), ("landmarks", "L1", "brought back"),
          ("shots", "S-N1", "taken out")]


def test_a_batch_is_taken_back_exactly_and_the_history_says_so(path):
    before = rows(path)
    batch = merge(path)
    merged = rows(path)
    looked = look_at_undo(path, Chosen(batch))
    assert done(looked) == MERGED and looked.batch == "" and not looked.conflicts
    assert rows(path) == merged
    result = undo(path, Chosen(batch), who="Bo")
    assert done(result) == MERGED
    assert rows(path) == before
    with closing(sqlite3.connect(path)) as connection:
        told = connection.execute("SELECT DISTINCT who, why FROM history WHERE batch = ?", [result.batch]).fetchall()
        assert told == [("Bo", f"Undo of batch {batch}")]
        assert connection.execute("SELECT rtreecheck('rtree_drains_geom')").fetchone() == ("ok",)
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_an_undo_is_undone_like_any_batch_and_so_on(path):
    before = rows(path)
    batch = merge(path)
    merged = rows(path)
    for _ in range(3):
        batch = undo(path, Chosen(batch)).batch
        assert rows(path) == before
        batch = undo(path, Chosen(batch)).batch
        assert rows(path) == merged


def test_what_was_done_later_elsewhere_stays(path):
    batch = merge(path)
    edit(path, "UPDATE drains SET note = 'later' WHERE drain_id = 'A-2'")
    undo(path, Chosen(batch))
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT note FROM drains WHERE drain_id = 'A-2'").fetchone() == ("later",)


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE drains SET note = 'x', edited_by = 'Cleo' WHERE drain_id = 'A-1'",
         "drain A-1 was changed on .* by Cleo"),
        ("UPDATE drains SET drain_id = 'A-1 b' WHERE drain_id = 'A-1'", "drain A-1 was changed on"),
        ("DELETE FROM drains WHERE drain_id = 'A-1'", "drain A-1 was deleted on"),
        ("DELETE FROM drains WHERE drain_id = 'N1'", None),
        ("REPLACE INTO drains (drain_id, role, geom) SELECT 'A-1', role, geom FROM drains WHERE drain_id = 'A-2'",
         "drain A-1 was replaced on"),
        ("UPDATE shots SET drain_id = 'A-2' WHERE shot_id = 'S-N1'", "shot S-N1 was changed on"),
        ("INSERT INTO repairs (repair_id, drain_id) VALUES ('R1', 'N1')", "repair R1 refers to drain N1"),
        ("INSERT INTO landmarks (geom, landmark_id) SELECT geom, 'L1' FROM landmarks LIMIT 1",
         "landmark L1 was added on"),
        ("UPDATE landmarks SET landmark_id = 'L1' WHERE landmark_id = 'L2'", "another landmark L1 was added since"),
    ],
)
def test_rows_changed_since_are_named_and_nothing_is_changed(path, statement, said):
    batch = merge(path)
    edit(path, statement)
    before = dump(path)
    if said is None:  # it is gone already
        undo(path, Chosen(batch))
        return
    conflicts = look_at_undo(path, Chosen(batch)).conflicts
    assert len(conflicts) == 1
    with pytest.raises(ArchiveError, match=f"cannot be taken back, since other work came after it: {said}.* Nothing"):
        undo(path, Chosen(batch))
    assert dump(path) == before


def test_later_work_that_was_taken_back_is_no_hindrance(path):
    before = rows(path)
    first = merge(path)
    with archive_batch(path, "repair", "") as batch:
        batch.update("drains", "A-1", {"note": "later"})
        batch.delete("shots", "S-N1")
        batch.delete("drains", "N1")
    with pytest.raises(ArchiveError, match=f"in batch {batch.id}"):
        undo(path, Chosen(first))
    undo(path, Chosen(batch.id))
    undo(path, Chosen(first))
    assert rows(path) == before


def test_a_row_that_referred_to_a_missing_drain_before_is_no_hindrance(path):
    edit(path, "INSERT INTO repairs (repair_id, drain_id) VALUES ('R1', 'N1')")
    before = rows(path)
    undo(path, Chosen(merge(path)))
    assert rows(path) == before


def test_rows_that_changed_keys_and_numbers_among_each_other(path):
    before = rows(path)
    with archive_batch(path, "merge", "") as batch:
        execute = batch.connection.execute
        execute("UPDATE drains SET drain_id = 'x' WHERE drain_id = 'A-1'")
        execute("UPDATE drains SET drain_id = 'A-1' WHERE drain_id = 'A-2'")
        execute("UPDATE drains SET drain_id = 'A-2' WHERE drain_id = 'x'")
        execute("UPDATE drains SET fid = fid + 100000 WHERE drain_id IN ('B-1', 'B-2')")
        execute("REPLACE INTO drains (fid, drain_id, role, geom) SELECT fid, 'B-3', role, geom FROM drains "
                "WHERE drain_id = 'F1-01'")
        execute("UPDATE landmarks SET landmark_id = 'L9' WHERE landmark_id = 'L1'")
        execute("UPDATE landmarks SET landmark_id = 'L1' WHERE landmark_id = 'L2'")
        execute("INSERT INTO limits (name, value, unit) VALUES ('least_cover', 2.5, 'ft')")
        execute("UPDATE archive SET name = 'another'")
    changed = rows(path)
    taken_back = undo(path, Chosen(batch.id))
    assert rows(path) == before
    undo(path, Chosen(taken_back.batch))
    assert rows(path) == changed


def test_a_number_that_another_row_has_by_now_is_left_to_it(path):
    with closing(sqlite3.connect(path)) as connection:
        number = connection.execute("SELECT fid FROM landmarks WHERE landmark_id = 'L1'").fetchone()[0]
    batch = merge(path)
    edit(path, f"INSERT INTO landmarks (fid, geom, landmark_id) SELECT {number}, geom, 'other' FROM landmarks LIMIT 1")
    undo(path, Chosen(batch))
    with closing(sqlite3.connect(path)) as connection:
        found = dict(connection.execute("SELECT landmark_id, fid FROM landmarks"))
    assert found["other"] == number != found["L1"]


def test_a_days_work_of_one_person(path):
    today = datetime.date.today()
    edit(path, "UPDATE drains SET note = 'x', edited_by = 'Cleo' WHERE drain_id = 'B-1'")
    before = rows(path)
    edit(path, "UPDATE drains SET note = 'one', edited_by = 'Dan' WHERE drain_id = 'A-1'",
         "UPDATE drains SET note = 'two' WHERE drain_id = 'A-1'",
         "INSERT INTO calls (call_id, about, edited_by, geom) SELECT 'C9', 'wet', 'Dan', geom FROM landmarks LIMIT 1")
    merge(path, who="Dan")
    result = undo(path, Chosen(day=today, done_by="Dan"), who="Ada")
    assert rows(path) == before
    assert not result.cautions
    with closing(sqlite3.connect(path)) as connection:
        why = connection.execute("SELECT why FROM history WHERE batch = ?", [result.batch]).fetchone()[0]
    assert why == f"Undo of the work of {today} by Dan"


def test_what_was_deleted_by_hand_has_no_name_and_that_is_said(path):
    today = datetime.date.today()
    edit(path, "UPDATE drains SET note = 'one', edited_by = 'Dan' WHERE drain_id = 'A-1'",
         "DELETE FROM landmarks WHERE landmark_id = 'L1'")
    (caution,) = undo(path, Chosen(day=today, done_by="Dan")).cautions
    assert caution.startswith("1 row was deleted by hand on that day")


def test_that_an_archive_was_made_is_not_taken_back(path):
    """As after the whole first day: its rows go, what it says about itself stays."""
    about = dump(path)["archive"]
    edit(path, "UPDATE archive SET name = 'another'")
    today = datetime.date.today()
    undo(path, Chosen(day=today))
    assert dump(path)["archive"] == about
    with closing(sqlite3.connect(path)) as connection:
        (made,) = connection.execute("SELECT date(min(at), 'localtime') FROM history").fetchone()
    rows_to_undo = look_at_undo(path, Chosen(day=datetime.date.fromisoformat(made))).rows
    changes = {(row.layer, row.change) for row in rows_to_undo}
    assert ("drains", "taken out") in changes and ("archive", "taken out") not in changes


def test_a_whole_day_by_whomever(path):
    today = datetime.date.today()
    before = rows(path)
    merge(path)
    edit(path, "DELETE FROM landmarks WHERE landmark_id = 'L2'", "UPDATE drains SET note = 'x' WHERE drain_id = 'B-1'")
    undo(path, Chosen(day=today))
    assert rows(path) == before


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        (Chosen("merge-none"), "has no batch 'merge-none': the last ones are merge-"),
        (Chosen(day=datetime.date(1950, 1, 1), done_by="Ada"), "knows nothing of the work of 1950-01-01 by Ada"),
        (Chosen(), "Give either a batch or a day"),
        (Chosen("x", datetime.date(2026, 1, 1)), "Give either a batch or a day"),
    ],
)
def test_nothing_to_take_back_is_a_sentence(path, chosen, said):
    merge(path)
    before = dump(path)
    with pytest.raises(ArchiveError, match=said):
        undo(path, chosen)
    assert dump(path) == before


def test_twice_is_said(path):
    batch = merge(path)
    undo(path, Chosen(batch))
    with pytest.raises(ArchiveError, match=f"Batch {batch} is taken back already"):
        undo(path, Chosen(batch))


def test_a_gap_in_the_history_is_a_hindrance(path):
    batch = merge(path)
    edit(path, "DROP TRIGGER drains_history_update", "UPDATE drains SET note = 'unseen' WHERE drain_id = 'A-1'")
    with archive_batch(path, "x", ""):
        pass
    with pytest.raises(ArchiveError, match=r"the history of 'Drains \(tile\)' has a gap before"):
        undo(path, Chosen(batch))


def test_canceled_changes_nothing(path):
    batch = merge(path)
    before = dump(path)
    with pytest.raises(CanceledError):
        undo(path, Chosen(batch), progress=Progress(is_canceled=lambda: True))
    assert dump(path) == before


def test_the_list_of_what_was_done(path):
    edit(path, "UPDATE drains SET note = 'one', edited_by = 'Dan' WHERE drain_id IN ('A-1', 'B-1')",
         "UPDATE land SET note = 'two', edited_by = 'Dan'")
    first = merge(path)
    second = undo(path, Chosen(first), who="Bo").batch
    with closing(open_archive(path)) as connection:
        listed = last_batches(connection)
    told = [(one.batch, one.kind, one.who, one.why, one.changes, set(one.layers.split(","))) for one in listed[:3]]
    assert told[:2] == [
        (second, "undo", "Bo", f"Undo of batch {first}", 4, {"drains", "landmarks", "shots"}),
        (first, "merge", "Ada", "north field", 4, {"drains", "landmarks", "shots"}),
    ]
    by_hand = told[2]
    assert (by_hand[:3], by_hand[5]) == (("", "by hand", "Dan"), {"drains", "land"})
    assert listed[0].day == str(datetime.date.today())
