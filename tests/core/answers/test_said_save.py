"""What is said after a save that was refused: the reports of QGIS as it gives them."""

import pytest
from fallkeeper.plugin.answers.said_save import LayerSave, Rows, reason, said_refused

LOCKED = ("ERROR: 1 geometries not changed.", "\n  Provider errors:",
          "    OGR error setting feature 1: failed to execute update : database is locked")
KEY_TWICE = ("SUCCESS: 1 geometries were changed.", "ERROR: 1 feature(s) not added.", "\n  Provider errors:",
             "    OGR error creating feature -6: failed to execute insert : Reading has the key of another reading: "
             "keys must differ.")


def test_nothing_is_said_where_nothing_was_refused():
    assert said_refused([]) == "" and said_refused([LayerSave("Drains", Rows(added=2), Rows())]) == ""


def test_written_not_written_and_where_the_rest_is():
    said = said_refused([
        LayerSave("Readings", Rows(moved=1, changed=2), Rows(added=1), KEY_TWICE),
        LayerSave("Drains", Rows(added=3), Rows()), LayerSave("Land", Rows(), Rows()),
    ])
    assert said == (
        "'Readings' was not saved as a whole. Not written: 1 new row. Written: the fields of 2 rows, the place of 1 "
        "row. Reason: Reading has the key of another reading: keys must differ. What to do: give one of the two rows "
        "another key in its form, then save again. Saved as a whole: Drains. Nothing is lost: what was not written is "
        "still among the edits of its layer.")


def test_nothing_written():
    said = said_refused([LayerSave("Calls", Rows(), Rows(changed=1, moved=1, deleted=2, columns=1), LOCKED)])
    assert "Not written: the fields of 1 row, the place of 1 row, the deletion of 2 rows, 1 column." in said
    assert "Written: nothing. Reason: database is locked. What to do: wait until" in said


@pytest.mark.parametrize(("told", "what"), [
    ("database is locked", "wait until"), ("attempt to write a readonly database", "make the file writable"),
    ("database or disk is full", "make room"), ("UNIQUE constraint failed: drains.drain_id", "another key"),
    ("database disk image is malformed", "run Verify archive"), ("Depth must be a number", "mend what is named"),
])
def test_what_to_do_next(told, what):
    errors = ("ERROR: 1 feature(s) not added.", "\n  Provider errors:", f"OGR error: failed to execute insert : {told}")
    assert reason(errors) == told
    assert what in said_refused([LayerSave("Drains", Rows(), Rows(added=1), errors)])


def test_without_any_words_of_the_file():
    assert reason(("ERROR: 1 attribute(s) not added.",)) == "1 attribute(s) not added"
    assert reason(()) == "" and reason(("SUCCESS: 1 feature(s) added.",)) == ""


def test_what_is_known_beside_a_reason_that_says_nothing_decides_what_to_do():
    save = LayerSave("Readings", Rows(), Rows(added=1), ("database is locked", "ERROR: none added.", "OGR error"))
    assert "wait until the other program has done with the file" in said_refused([save])
    save = LayerSave("Readings", Rows(), Rows(added=1), ("database is locked", "UNIQUE constraint failed"))
    assert "another key in its form" in said_refused([save]), "the reason itself comes first"
