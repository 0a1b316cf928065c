"""Entries as people write them."""

import numpy as np
import pytest
from fallkeeper.plugin.importing.read_values import GUESS, SURE, UNREAD, read_values, read_word, read_yes_no
from fallkeeper.plugin.importing.value_words import PHRASES, TOKENS
from fallkeeper.plugin.importing.words import phrase, split_words, take_size
from fallkeeper.plugin.schema.values import VALUE_LISTS


@pytest.mark.parametrize(
    ("entry", "value", "how"),
    [
        ("lat", "lateral", SURE), ("LATERALS", "lateral", SURE), ("sub main", "submain", SURE),
        ("Sub-Main", "submain", SURE), ("  ", "", SURE),
        ("main", "main", SURE), ("outlet_pipe", "outlet_pipe", SURE), ("Outlet", "outlet_pipe", SURE),
        ('6" Main', "main", SURE), ("TILE-LATERAL-4IN", "lateral", GUESS), ("SUBMAIN_8in", "submain", SURE),
        ("new sub main west", "submain", GUESS), ("mains and laterals", "", UNREAD), ("fence", "", UNREAD),
        ("domain", "", UNREAD), ("remaining", "", UNREAD),
    ],
)  # fmt: skip
def test_roles(entry, value, how):
    assert read_word("role", entry, {}) == (value, how)


@pytest.mark.parametrize(
    ("entry", "value", "how"),
    [("HDPE dual wall", "dual_wall_plastic", GUESS), ("CPT", "corrugated_plastic", SURE),
     ("plastic", "corrugated_plastic", GUESS), ("Clay tile", "clay", SURE), ("old clay 1950s", "clay", GUESS),
     ("PVC", "smooth_plastic", SURE), ("wood", "", UNREAD)],
)  # fmt: skip
def test_materials(entry, value, how):
    assert read_word("material", entry, {}) == (value, how)


def test_what_the_user_says_comes_first():
    told = {"A": "lateral", "Main": "submain"}
    read = read_values("role", np.array(["A", "a ", "B", None, "main"], dtype=object), told)
    assert list(read.value) == ["lateral", "lateral", None, None, "submain"]
    assert list(read.unread) == [False, False, True, False, False]
    assert read.share == 0.75


def test_a_size_in_an_entry_is_found_only_with_its_unit():
    read = read_values("role", np.array(['4" lat', "100 mm lateral", "lat 4", "main"], dtype=object))
    assert list(read.size) == ['4"', "100 mm", "", ""]
    assert list(read.value) == ["lateral", "lateral", "lateral", "main"]
    assert take_size("6-inch main west") == ("6-inch", "main west")


def test_every_value_and_label_means_itself():
    for name, values in VALUE_LISTS.items():
        for value, label in values.items():
            assert read_word(name, value, {}) == (value, SURE)
            assert read_word(name, label.upper(), {}) == (value, SURE)


def test_the_lists_of_words_name_known_values_and_say_nothing_twice():
    for name, by_value in PHRASES.items():
        assert set(by_value) <= set(VALUE_LISTS[name])
        words = [word for entries in by_value.values() for word in entries]
        assert len(words) == len(set(words)), f"{name}: {sorted(w for w in words if words.count(w) > 1)}"
        assert all(word == phrase(word) for word in words)
    for name, rules in TOKENS.items():
        assert {value for _, value in rules} <= set(VALUE_LISTS[name])
        assert all(word == split_words(word)[0] for needed, _ in rules for word in needed)


def test_yes_and_no():
    value, unread = read_yes_no(np.array(["Yes", "N", "", None, 1.0, "perhaps"], dtype=object))
    np.testing.assert_array_equal(value, [1, 0, np.nan, np.nan, 1, np.nan])
    assert list(unread) == [False] * 5 + [True]
