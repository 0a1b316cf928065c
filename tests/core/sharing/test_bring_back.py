"""What comes back from the field: clean changes go in, clashes are listed with both values, broken rules with why."""

import datetime
import json

import pytest
from fallkeeper.plugin.schema import LAYERS
from fallkeeper.plugin.sharing.bring_back import KEEP_ARCHIVE, TAKE_FIELD, Plan, plan_layer
from fallkeeper.plugin.sharing.field_copy import AboutCopy, key_of_new_row, layers_for_the_field, pack, unpack
from fallkeeper.plugin.sharing.words import plan_rows
from hypothesis import given
from hypothesis import strategies as st

BASE = {"drain_id": "A", "diameter": 4.0, "role": "main", "note": None, "geom": b"1", "edited_by": "office"}


def row(**changed):
    return {**BASE, **changed}


def planned(base, field, archive, clashes=KEEP_ARCHIVE, refusal=lambda row: ""):
    plan = Plan()
    plan_layer(plan, "drains", base, field, archive, clashes, refusal)
    return plan


def only(plan):
    (change,) = plan.changes
    return change


def test_nothing_changed_brings_nothing():
    plan = planned({"A": BASE}, {"A": row(edited_by="crew")}, {"A": row(edited_by="Anna")})
    assert (plan.changes, plan.decisions, plan.refused) == ([], [], [])


def test_a_changed_field_goes_in_with_who_did_it():
    change = only(planned({"A": BASE}, {"A": row(diameter=6.0, edited_by="crew")}, {"A": row(note="seen")}))
    assert (change.action, change.key) == ("update", "A")
    assert change.values == {"diameter": 6.0, "edited_by": "crew"}
    assert change.theirs["note"] == "seen"


def test_new_and_deleted_rows_go_in():
    plan = planned({"A": BASE}, {"B": row(drain_id="B")}, {"A": BASE})
    assert sorted((change.key, change.action) for change in plan.changes) == [("A", "delete"), ("B", "insert")]
    assert next(change for change in plan.changes if change.key == "B").values["geom"] == b"1"


def test_a_clash_is_listed_and_the_archive_stays_while_the_rest_of_the_row_goes_in():
    plan = planned({"A": BASE}, {"A": row(diameter=6.0, note="dug")}, {"A": row(diameter=8.0)})
    assert only(plan).values == {"note": "dug", "edited_by": "office"}
    (decision,) = plan.decisions
    assert (decision.clash.base, decision.clash.mine, decision.clash.theirs) == (4.0, 6.0, 8.0)
    assert not decision.field_wins


def test_the_field_can_be_taken_and_each_clash_is_still_listed():
    plan = planned({"A": BASE}, {"A": row(diameter=6.0)}, {"A": row(diameter=8.0)}, TAKE_FIELD)
    assert only(plan).values["diameter"] == 6.0
    assert plan.decisions[0].field_wins


@pytest.mark.parametrize(
    ("field", "archive", "action"),
    [({"A": row(diameter=6.0)}, {}, "insert"), ({}, {"A": row(diameter=8.0)}, "delete")],
)
def test_a_row_deleted_on_one_side_and_changed_on_the_other_is_decided_by_somebody(field, archive, action):
    plan = planned({"A": BASE}, field, archive)
    assert plan.changes == []
    assert len(plan.decisions) == 1
    assert only(planned({"A": BASE}, field, archive, TAKE_FIELD)).action == action


def test_a_row_that_breaks_a_rule_is_refused_with_why_and_the_others_go_in():
    def refusal(row):
        return "No." if row["diameter"] is not None and row["diameter"] < 0 else ""

    base = {"A": BASE, "B": row(drain_id="B")}
    field = {"A": row(diameter=-1.0), "B": row(drain_id="B", diameter=6.0)}
    plan = planned(base, field, dict(base), refusal=refusal)
    assert plan.refused == [("drains", "A", "No.")]
    assert only(plan).key == "B"


def test_rules_are_asked_about_the_row_as_it_would_be():
    seen = []
    planned({"A": BASE}, {"A": row(diameter=6.0)}, {"A": row(note="seen")}, refusal=lambda row: seen.append(row) or "")
    assert (seen[0]["diameter"], seen[0]["note"]) == (6.0, "seen")


def test_both_added_the_same_key():
    new = {"B": row(drain_id="B")}
    assert planned({}, new, dict(new)).changes == []
    plan = planned({}, new, {"B": row(drain_id="B", diameter=9.0)})
    assert [decision.clash.field for decision in plan.decisions] == ["diameter"]


_ROWS = st.dictionaries(
    st.sampled_from("ABC"),
    st.fixed_dictionaries({name: st.sampled_from([None, 1.0, 2.0]) for name in ("x", "y")}),
)


@given(_ROWS, _ROWS, _ROWS, st.sampled_from([KEEP_ARCHIVE, TAKE_FIELD]))
def test_bringing_back_twice_brings_nothing_new(base, field, archive, clashes):
    """After the changes are written only what was left as the archive has it is still listed."""
    plan = planned(base, field, archive, clashes)
    written = dict(archive)
    for change in plan.changes:
        if change.action == "delete":
            assert written.pop(change.key) == change.theirs
        else:
            assert written.get(change.key) == change.theirs
            written[change.key] = {**written.get(change.key, {}), **change.values}
    again = planned(base, field, written, clashes)
    assert again.changes == []
    assert len(again.decisions) == len([d for d in plan.decisions if not d.field_wins])
    untouched = set(archive) - {change.key for change in plan.changes}
    assert all(written[key] == archive[key] for key in untouched)


def test_the_table_says_both_values_and_what_becomes_of_them():
    plan = planned({"A": BASE, "B": row(drain_id="B")},
                   {"A": row(diameter=6.0, note="dug", geom=b"2"), "C": row(drain_id="C")},
                   {"A": row(diameter=8.0), "B": row(drain_id="B")})
    plan.refused.append(("drains", "D", "Role is not known."))
    assert list(plan_rows(plan, written=False)) == [
        ("drains", "A", "changed", "Note", "", "", "dug", "can be written"),
        ("drains", "A", "changed", "Place", "drawn", "drawn", "drawn", "can be written"),
        ("drains", "B", "deleted", "", "", "", "", "can be written"),
        ("drains", "C", "new", "", "", "", "", "can be written"),
        ("drains", "A", "conflict", "Inside diameter", "4", "8", "6", "the archive's stays"),
        ("drains", "D", "refused", "", "", "", "", "Role is not known."),
    ]


# What a copy keeps


def test_rows_come_back_as_they_were_packed():
    kept = {"a": 0.1 + 0.2, "b": None, "c": "käse \"x\"", "d": datetime.datetime(2024, 5, 1, 10, 0, 0, 250_000),
            "e": 3, "geom": b"\x01\xff", "f": "2024-05-01"}
    assert unpack(pack(kept), {"d": "datetime", "f": "date"}) == kept


def test_a_copy_says_where_it_comes_from_or_is_none():
    about = AboutCopy("c0ffee00-0000-4000-8000-000000000000", "Ossel Flats", "2024-05-01", "us", "EPSG:3734", 2, 17,
                      "2024-05-02T10:00:00+00:00", ("drains", "shots"))
    assert AboutCopy.unpacked(about.packed()) == about
    for words in ("{}", "no json", json.dumps({"copy_id": 1, "layers": []})):
        with pytest.raises(ValueError, match="does not say where it comes from"):
            AboutCopy.unpacked(words)
    keys = {key_of_new_row(about, layer, number) for layer in ("drains", "shots") for number in (1, 2)}
    assert len(keys) == 4
    assert key_of_new_row(about, "drains", 1) in keys


def test_layers_whose_rows_can_be_told_apart_go_to_the_field():
    from fallkeeper.processing_algs import field_copy as dialog

    names = tuple(layer.name for layer in layers_for_the_field())
    assert names == dialog.CHOICES
    assert set(names) <= {layer.name for layer in LAYERS}
