"""Ends that moved without their inverts, as the history of an archive tells; saves lie days apart unless said."""

import sqlite3
from contextlib import closing

import pytest
import shapely
from archives import bare_archive, blob, insert
from fallkeeper.plugin.history.moved_ends import moved_ends

LEVELS = {"invert_start": 100.0, "invert_end": 99.0}


@pytest.fixture
def db():
    with closing(bare_archive()) as connection:
        yield Archive(connection)


class Archive:
    """Each call is a save of its own, some days after the last one."""

    def __init__(self, connection):
        self.db = connection

    def later(self):
        guards = self.db.execute("SELECT name, sql FROM sqlite_master WHERE name LIKE 'history_kept%'").fetchall()
        for name, _ in guards:
            self.db.execute(f"DROP TRIGGER {name}")
        self.db.execute("UPDATE history SET at = strftime('%Y-%m-%dT%H:%M:%fZ', at, '-3 days')")
        for _, statement in guards:
            self.db.execute(statement)

    def draw(self, key, *places, **values):
        self.later()
        insert(self.db, "drains", drain_id=key, geom=line(*places), **{**LEVELS, **values})

    def change(self, key, *places, save=True, **values):
        if save:
            self.later()
        if places:
            values["geom"] = line(*places)
        named = ", ".join(f"{name} = ?" for name in values)
        self.db.execute(f"UPDATE drains SET {named} WHERE drain_id = ?", [*values.values(), key])

    def batch(self, name):
        self.db.execute("UPDATE history_note SET batch = ?", [name])

    def moved(self):
        return sorted((end.key, "end" if end.at_end else "start", end.place, end.invert, end.split)
                      for end in moved_ends(self.db)[0])

    def known(self):
        return moved_ends(self.db)[1]


def line(*places):
    return blob(shapely.LineString(places))


A, B, C, D = (0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (40.0, 0.0)


def test_nothing_moved(db):
    db.draw("K", A, B)
    assert db.moved() == []
    db.change("K", note="seen")
    db.change("K", A, (50.0, 3.0), B)  # a bend is no end
    db.change("K", invert_end=98.0)
    assert db.moved() == [] and db.known() == {"K"}


def test_an_end_that_moved(db):
    db.draw("K", A, B)
    db.change("K", A, C, edited_by="Ada")
    db.change("K", note="x", edited_by="Bo")
    assert db.moved() == [("K", "end", B, 99.0, False)]
    (end,) = moved_ends(db.db)[0]
    assert (end.who, end.other) == ("Ada", A)
    assert end.at < db.db.execute("SELECT max(at) FROM history").fetchone()[0]


def test_the_invert_was_given_anew_before_after_or_with_the_move(db):
    for key in ("before", "after", "with", "one save", "the other way"):
        db.draw(key, A, B)
    db.change("before", invert_end=98.0)
    db.change("before", A, C)  # given before the move: stale
    db.change("after", A, C)
    db.change("after", invert_end=98.0)
    db.change("with", A, C, invert_end=98.0)
    db.change("one save", A, C)
    db.change("one save", save=False, invert_end=98.0)
    db.change("the other way", invert_end=98.0)
    db.change("the other way", A, C, save=False)
    assert db.moved() == [("before", "end", B, 98.0, False)]


def test_moved_back_or_emptied(db):
    db.draw("back", A, B)
    db.change("back", A, C)
    db.change("back", A, B)
    db.draw("emptied", A, B)
    db.change("emptied", A, C)
    db.change("emptied", invert_end=None)
    db.draw("never known", A, B, invert_end=None)
    db.change("never known", A, C)
    assert db.moved() == []


def test_several_small_moves_add_up_from_where_the_invert_was_given(db):
    db.draw("K", A, B)
    for x in (101.0, 102.0, 103.0):
        db.change("K", A, (x, 0.0))
    assert db.moved() == [("K", "end", B, 99.0, False)]


def test_turned(db):
    db.draw("K", A, B)
    db.change("K", B, A)
    assert db.moved() == [("K", "end", B, 99.0, False), ("K", "start", A, 100.0, False)]
    db.change("K", invert_start=99.0, invert_end=100.0)
    assert db.moved() == []


def test_split_both_parts_took_the_inverts_along(db):
    db.draw("K", A, B)
    db.change("K", A, D)
    insert(db.db, "drains", drain_id="K2", geom=line(D, B), **LEVELS)
    assert db.moved() == [("K", "end", B, 99.0, False), ("K2", "start", A, 100.0, True)]
    db.change("K", invert_end=99.6)
    db.change("K2", invert_start=99.6)
    assert db.moved() == []


def test_split_in_three_and_the_new_line_first(db):
    db.draw("K", A, B)
    db.later()
    insert(db.db, "drains", drain_id="K2", geom=line(D, (60.0, 0.0)), **LEVELS)
    insert(db.db, "drains", drain_id="K3", geom=line((60.0, 0.0), B), **LEVELS)
    db.change("K", A, D, save=False)
    assert [row[:2] for row in db.moved()] == [("K", "end"), ("K2", "end"), ("K2", "start"), ("K3", "start")]
    db.change("K3", A, B, save=True)
    assert ("K3", "start") not in [row[:2] for row in db.moved()]


def test_a_line_drawn_elsewhere_in_the_same_save_was_not_cut(db):
    db.draw("K", A, B)
    db.change("K", A, D)
    insert(db.db, "drains", drain_id="other", geom=line((0.0, 50.0), C), **LEVELS)
    insert(db.db, "drains", drain_id="own levels", geom=line(D, B), invert_start=99.6, invert_end=99.0)
    assert [row[:2] for row in db.moved()] == [("K", "end")]


def test_batches_deal_with_inverts_themselves(db):
    db.draw("K", A, B)
    db.later()
    db.batch("repair-1")
    db.change("K", A, D, save=False)
    insert(db.db, "drains", drain_id="K2", geom=line(D, B), **LEVELS)
    db.batch(None)
    assert db.moved() == []
    db.change("K", A, C)
    assert db.moved() == [("K", "end", D, 99.0, False)]


def test_a_key_that_was_changed_keeps_its_life(db):
    db.draw("K", A, B)
    db.change("K", A, C)
    db.change("K", drain_id="M")
    assert db.moved() == [("M", "end", B, 99.0, False)] and db.known() == {"M"}


def test_a_new_drain_of_the_same_key_begins_anew(db):
    db.draw("K", A, B)
    db.change("K", A, C)
    db.db.execute("DELETE FROM drains")
    db.draw("K", A, B)
    assert db.moved() == []


def test_words_in_texts_do_not_mislead(db):
    db.draw("K", A, B, name='"geom":"00","invert_end":7')
    db.change("K", A, C)
    assert db.moved() == [("K", "end", B, 99.0, False)]


def test_what_the_history_does_not_tell(db):
    db.draw("K", A, B)
    db.db.execute("INSERT INTO history (layer, action, at) VALUES ('drains', 'gap', '2026-01-01T00:00:00.000Z')")
    db.draw("M", A, B)
    assert db.known() == {"M"}
    with pytest.raises(sqlite3.IntegrityError):
        db.db.execute("UPDATE history SET key = 'x'")
