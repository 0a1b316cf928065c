"""The history as triggers write it: one row for every change by any statement, in the format of schema/history.py."""

import datetime
import json
import math
import sqlite3
from contextlib import closing

import pytest
import shapely
from archives import bare_archive, blob, entries, good_row, insert
from fallkeeper.plugin.schema import layer
from fallkeeper.plugin.schema.history import declared_columns, logged_layers
from fallkeeper.plugin.schema.kept_rows import read_stored_row
from fallkeeper.plugin.schema.sqlite_history import history_triggers
from hypothesis import given
from hypothesis import strategies as st

NOTHING = {"batch": None, "who": None, "why": None}


@pytest.fixture
def db():
    with closing(bare_archive()) as connection:
        yield connection


def told(connection, *columns):
    return [tuple(row[column] for column in columns) for row in entries(connection)]


@pytest.mark.parametrize("declared", logged_layers(), ids=lambda declared: declared.name)
def test_every_layer_keeps_added_changed_and_deleted_rows(db, declared):
    name = declared.name
    row = {**good_row(name), "note": "first", "edited_by": "Ada"}
    insert(db, name, **row)
    number = db.execute(f'SELECT fid FROM "{name}"').fetchone()[0]
    db.execute(f"UPDATE \"{name}\" SET note = 'second', edited_by = 'Bo'")
    db.execute(f'DELETE FROM "{name}"')
    key = "K1" if declared.key and declared.key.required else f"#{number}"
    assert told(db, "layer", "key", "new_key", "action", "who") == [
        (name, key, None, "insert", "Ada"), (name, key, None, "update", "Bo"), (name, key, None, "delete", None)
    ]
    first, second, third = (entry["before"] for entry in entries(db))
    assert first is None
    assert set(second) == set(third) == set(declared_columns(declared))
    stored = {column: value.hex().upper() if column == "geom" else value for column, value in row.items()}
    assert second == {**dict.fromkeys(declared_columns(declared)), **stored, "fid": number}
    assert third == {**second, "note": "second", "edited_by": "Bo"}


def test_times_are_utc_with_milliseconds(db):
    before = datetime.datetime.now(datetime.timezone.utc)
    insert(db, "landmarks")
    at = entries(db)[0]["at"]
    assert len(at) == len("2025-03-17T12:00:00.123Z")
    assert at.endswith("Z")
    written = datetime.datetime.fromisoformat(at.replace("Z", "+00:00"))
    assert abs((written - before).total_seconds()) < 60


def test_the_note_of_a_transaction_names_batch_person_and_reason(db):
    db.execute("BEGIN")
    db.execute("UPDATE history_note SET batch = 'repair 7', who = 'Cleo', why = 'roots'")
    insert(db, "drains", edited_by="somebody else")
    db.execute("UPDATE drains SET name = 'x'")
    db.execute("DELETE FROM drains")
    db.execute("UPDATE history_note SET batch = NULL, who = NULL, why = NULL")
    db.execute("COMMIT")
    insert(db, "drains", edited_by="Ada")
    assert told(db, "batch", "who", "why") == [("repair 7", "Cleo", "roots")] * 3 + [(None, "Ada", None)]


def test_a_transaction_taken_back_leaves_nothing(db):
    db.execute("BEGIN")
    db.execute("UPDATE history_note SET batch = 'merge 1'")
    insert(db, "drains")
    db.execute("ROLLBACK")
    insert(db, "drains")
    assert told(db, "batch", "action") == [(None, "insert")]


def test_a_changed_key_is_told(db):
    insert(db, "drains")
    db.execute("UPDATE drains SET drain_id = 'K2'")
    assert told(db, "key", "new_key", "action")[1] == ("K1", "K2", "update")


def test_a_row_without_a_key_is_called_by_its_number_until_it_has_one(db):
    insert(db, "predictions", fid=5)
    db.execute("UPDATE predictions SET prediction_id = 'P1'")
    db.execute("UPDATE predictions SET fid = 9, prediction_id = NULL")
    insert(db, "limits", fid=3, name="least_cover")
    db.execute("UPDATE limits SET fid = 4")
    assert told(db, "key", "new_key") == [("#5", None), ("#5", "P1"), ("P1", "#9"), ("#3", None), ("#3", "#4")]


@pytest.mark.parametrize("how", ["INSERT OR REPLACE", "REPLACE"])
def test_rows_pushed_out_by_key_and_by_number_are_kept(db, how):
    insert(db, "drains", fid=1, drain_id="A", note="by key")
    insert(db, "drains", fid=2, drain_id="B", note="by number")
    insert(db, "drains", how, fid=2, drain_id="A", note="new", edited_by="Ada")
    assert db.execute("SELECT fid, drain_id, note FROM drains").fetchall() == [(2, "A", "new")]
    rest = entries(db)[2:]
    assert sorted((row["key"], row["new_key"], row["action"], row["who"]) for row in rest[:2]) == [
        ("A", "A", "replaced", "Ada"), ("B", "A", "replaced", "Ada")
    ]
    assert {row["key"]: (row["before"]["fid"], row["before"]["note"]) for row in rest[:2]} == {
        "A": (1, "by key"), "B": (2, "by number")
    }
    assert [(row["key"], row["action"]) for row in rest[2:]] == [("A", "insert")]


def test_rows_pushed_out_by_an_update_are_kept(db):
    insert(db, "drains", fid=1, drain_id="A", note="stays")
    insert(db, "drains", fid=2, drain_id="B", note="goes")
    db.execute("UPDATE OR REPLACE drains SET drain_id = 'B' WHERE drain_id = 'A'")
    assert db.execute("SELECT fid, drain_id, note FROM drains").fetchall() == [(1, "B", "stays")]
    assert told(db, "key", "new_key", "action")[2:] == [("B", "B", "replaced"), ("A", "B", "update")]
    assert entries(db)[2]["before"]["note"] == "goes"


@pytest.mark.parametrize("recursive", [0, 1])
def test_a_replaced_row_is_written_once_also_where_triggers_are_recursive(db, recursive):
    db.execute(f"PRAGMA recursive_triggers = {recursive}")
    insert(db, "drains", fid=1)
    insert(db, "drains", "REPLACE", fid=7)
    assert told(db, "action") == [("insert",), ("replaced",), ("insert",)]
    db.execute("DELETE FROM drains")
    assert told(db, "action")[3:] == [("delete",)]


def test_a_taken_key_is_refused_with_its_sentence_but_for_a_replace(db):
    insert(db, "drains")
    for how in ("INSERT", "INSERT OR IGNORE"):
        with pytest.raises(sqlite3.IntegrityError, match="Drain has the key of another drain: keys must differ"):
            insert(db, "drains", how)
    for how in ("INSERT OR FAIL", "INSERT OR ABORT"):
        with pytest.raises(sqlite3.IntegrityError):
            insert(db, "drains", how)
    assert told(db, "action") == [("insert",)]
    insert(db, "drains", "REPLACE")
    with pytest.raises(sqlite3.IntegrityError, match="keys must differ"):  # the way of the REPLACE is forgotten
        insert(db, "drains")


def test_add_or_change_in_one_statement_is_a_change(db):
    insert(db, "drains", fid=1, drain_id="A")
    names = "fid, drain_id, role, geom"
    db.execute(
        f"INSERT INTO drains ({names}) SELECT fid, 'B', role, geom FROM drains WHERE true "
        "ON CONFLICT (fid) DO UPDATE SET name = 'changed'"
    )
    assert told(db, "key", "action") == [("A", "insert"), ("A", "update")]


def test_a_statement_on_many_rows_leaves_a_row_for_each(db):
    for key in "ABC":
        insert(db, "drains", drain_id=key)
    db.execute("UPDATE drains SET name = drain_id WHERE drain_id > 'A'")
    assert told(db, "key", "action")[3:] == [("B", "update"), ("C", "update")]


def test_the_history_itself_cannot_be_changed(db):
    insert(db, "drains")
    row = entries(db)[0]
    for statement in ("UPDATE history SET who = 'x'", "DELETE FROM history", "REPLACE INTO history (seq) VALUES (1)",
                      "UPDATE OR REPLACE history SET seq = 2"):
        with pytest.raises(sqlite3.IntegrityError, match="The history is kept by the archive itself"):
            db.execute(statement)
    assert entries(db) == [row]


def test_changes_are_kept_even_where_the_note_was_lost(db):
    db.execute("DELETE FROM history_note")
    insert(db, "drains", edited_by="Ada")
    assert told(db, "action", "who", "batch") == [("insert", "Ada", None)]


_TEXTS = st.text(st.characters(blacklist_categories=("Cs",)))
_VALUES = st.one_of(
    st.none(), st.integers(-(2**63), 2**63 - 1), st.floats(allow_nan=False), _TEXTS, st.binary(),
)


@given(values=st.lists(_VALUES, min_size=2, max_size=2))
def test_any_value_reads_back_as_the_same(values):
    """Through a column without a type, so that SQLite keeps what it is given."""
    with closing(bare_archive("landmarks")) as db:
        db.execute('ALTER TABLE landmarks ADD COLUMN "odd ""name\\"')
        db.execute("ALTER TABLE landmarks ADD COLUMN x")
        columns = (*declared_columns(layer("landmarks")), 'odd "name\\', "x")
        for statement in history_triggers(layer("landmarks"), columns):
            db.execute(f"DROP TRIGGER {statement.split()[2]}")
            db.execute(statement)
        insert(db, "landmarks")
        db.execute('UPDATE landmarks SET "odd ""name\\" = ?, x = ?', values)
        kept = db.execute('SELECT "odd ""name\\", x FROM landmarks').fetchone()
        db.execute("DELETE FROM landmarks")
        ((text,),) = db.execute("SELECT before FROM history ORDER BY seq DESC LIMIT 1")
    before = read_stored_row(text)
    for value, read in zip(kept, (before['odd "name\\'], before["x"])):
        assert read == value
        assert type(read) is type(value)


@pytest.mark.parametrize("value", [0.1, 1e23, 5e-324, 1.7976931348623157e308, 1.0598572495520002e288, -2.5, 1e22, 3.0])
def test_reals_keep_their_last_digit(db, value):
    insert(db, "shots", elevation=value)
    db.execute("DELETE FROM shots")
    read = entries(db)[-1]["before"]["elevation"]
    assert read == value
    assert type(read) is float


def test_infinity_is_a_number_that_readers_of_json_take(db):
    insert(db, "shots", elevation=math.inf, error=math.inf)
    db.execute("UPDATE shots SET elevation = -9e999")
    db.execute("DELETE FROM shots")
    texts = [row[0] for row in db.execute("SELECT before FROM history WHERE before IS NOT NULL ORDER BY seq")]
    for text in texts:
        json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    assert [json.loads(text)["elevation"] for text in texts] == [math.inf, -math.inf]


def test_not_a_number_is_unknown(db):
    insert(db, "shots", error=math.nan)
    db.execute("DELETE FROM shots")
    assert entries(db)[-1]["before"]["error"] is None


def test_a_geometry_is_kept_to_the_byte(db):
    stored = blob(shapely.Point(0.1, 1e-300))
    insert(db, "trees", geom=stored)
    db.execute("DELETE FROM trees")
    assert bytes.fromhex(entries(db)[-1]["before"]["geom"]) == stored
