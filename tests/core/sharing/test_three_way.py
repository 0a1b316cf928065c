"""Three versions of a row: no change of either side is lost without a word."""

import datetime

import pytest
from fallkeeper.plugin.schema import layer
from fallkeeper.plugin.sharing.three_way import (
    DELETE,
    INSERT,
    NOTHING,
    UPDATE,
    WHOLE_ROW,
    Clash,
    merge_row,
    plain,
    same,
)
from fallkeeper.plugin.sharing.words import clash_words, heading
from fallkeeper.plugin.units import METRIC, US, Units
from hypothesis import given
from hypothesis import strategies as st

BASE = {"diameter": 4.0, "role": "main", "note": None}


def row(**changed):
    return {**BASE, **changed}


def test_what_only_i_changed_is_written():
    merged = merge_row(BASE, row(diameter=6.0), BASE)
    assert (merged.action, merged.values, merged.clashes, merged.beside) == (UPDATE, {"diameter": 6.0}, (), ())


def test_different_fields_go_together_and_what_they_did_is_told():
    merged = merge_row(BASE, row(diameter=6.0), row(note="seen"))
    assert (merged.action, merged.values, merged.clashes, merged.beside) == (UPDATE, {"diameter": 6.0}, (), ("note",))


def test_the_same_field_to_different_values_clashes_and_the_rest_is_written():
    merged = merge_row(BASE, row(diameter=6.0, role="lateral"), row(diameter=8.0))
    assert merged.values == {"role": "lateral"}
    assert merged.clashes == (Clash("diameter", 4.0, 6.0, 8.0),)


def test_the_same_change_by_both_is_no_change():
    assert merge_row(BASE, row(diameter=6.0), row(diameter=6)).action == NOTHING


def test_an_emptied_field_is_a_change_like_any_other():
    assert merge_row(BASE, row(diameter=None), BASE).values == {"diameter": None}
    assert merge_row(BASE, row(diameter=None), row(diameter=5.0)).clashes == (Clash("diameter", 4.0, None, 5.0),)


def test_rows_that_were_added():
    assert merge_row(None, BASE, None).action == INSERT
    assert merge_row(None, BASE, dict(BASE)).action == NOTHING
    assert merge_row(None, BASE, row(diameter=9.0)).clashes == (Clash("diameter", None, 4.0, 9.0),)
    assert merge_row(None, None, BASE).action == NOTHING


def test_rows_that_were_deleted():
    assert merge_row(BASE, None, BASE).action == DELETE
    assert merge_row(BASE, None, None).action == NOTHING
    assert merge_row(BASE, BASE, None).action == NOTHING
    (deleted_here,) = merge_row(BASE, None, row(diameter=8.0)).clashes
    assert (deleted_here.field, deleted_here.mine, deleted_here.theirs["diameter"]) == (WHOLE_ROW, None, 8.0)
    (deleted_there,) = merge_row(BASE, row(diameter=8.0), None).clashes
    assert (deleted_there.field, deleted_there.mine["diameter"], deleted_there.theirs) == (WHOLE_ROW, 8.0, None)


_ROWS = st.one_of(st.none(), st.fixed_dictionaries({name: st.sampled_from([None, 1.0, 2.0, 3.0]) for name in "ab"}))


@given(_ROWS, _ROWS, _ROWS)
def test_applied_changes_and_clashes_cover_all_i_did_and_touch_nothing_they_did(base, mine, theirs):
    merged = merge_row(base, mine, theirs)
    if merged.clashes:
        assert all(not same(clash.mine, clash.theirs) for clash in merged.clashes)
    if merged.action == DELETE:
        assert theirs == base and mine is None
        return
    after = {**(theirs or {}), **merged.values} if merged.action in (INSERT, UPDATE) else theirs
    fields = {clash.field for clash in merged.clashes}
    for name in "ab":
        if after is None or mine is None or WHOLE_ROW in fields or name in fields:
            continue
        i_changed = base is None or not same(base[name], mine[name])
        assert same(after[name], mine[name] if i_changed else theirs[name])
    if theirs is not None and base is not None and after is not None:
        theirs_only = [n for n in "ab" if not same(theirs[n], base[n]) and (mine is None or same(mine[n], base[n]))]
        assert all(same(after[name], theirs[name]) for name in theirs_only)


@pytest.mark.parametrize(
    ("value", "kind", "expected"),
    [
        (4, "real", 4.0),
        (True, "boolean", 1),
        ("2024-05-01T00:00:00", "date", "2024-05-01"),
        ("2024-05-01T10:00:00Z", "datetime", datetime.datetime(2024, 5, 1, 10)),
        ("2024-05-01T10:00:00.25Z", "datetime", datetime.datetime(2024, 5, 1, 10, 0, 0, 250_000)),
        ("2024-05-01T12:00:00+02:00", "datetime", datetime.datetime(2024, 5, 1, 10)),
        ("2024-05-01T10:00:00", "datetime", datetime.datetime(2024, 5, 1, 10)),
        ("yesterday", "datetime", "yesterday"),
        (None, "real", None),
    ],
)
def test_values_of_different_sources_are_made_comparable(value, kind, expected):
    assert plain(value, kind) == expected


def test_clashes_in_words():
    drains = layer("drains")
    assert heading(drains, "F1-01") == "Drain F1-01"
    words = clash_words(Clash("diameter", 4.0, 6.0, None), drains, Units(US), "Anna")
    assert words == "Inside diameter (in): was 4; Anna wrote empty, you 6"
    words = clash_words(Clash("role", None, "main", "lateral"), drains, Units(METRIC), "", "the field copy")
    assert words == "Role: was empty; somebody else wrote Lateral, the field copy Main"
    assert clash_words(Clash("geom", b"1", b"2", b"3"), drains, Units(US), "Anna") == (
        "its place: Anna moved it, and so did you"
    )
    assert clash_words(Clash(WHOLE_ROW, {}, {}, None), drains, Units(US), "Anna") == "Anna deleted it, you changed it"
    assert clash_words(Clash(WHOLE_ROW, {}, None, {}), drains, Units(US), "Anna") == "Anna changed it, you deleted it"
