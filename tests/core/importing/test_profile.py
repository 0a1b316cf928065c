"""Import profiles: what is said comes back, what is not known is said, what is wrong is refused."""

import json

import pytest
from fallkeeper.plugin.importing.answers import Answers, parse_field_map, parse_value_map
from fallkeeper.plugin.importing.guess_fields import FieldMapError
from fallkeeper.plugin.importing.profile import VERSION_KEY, ProfileError, dump_profile, load_profile
from hypothesis import given
from hypothesis import strategies as st

FULL = Answers(
    fields={"drains": {"diameter": "SIZE", "status": "'in_ground'"}, "points": {"line": "Run"}},
    values={"role": {"T1": "lateral", "T2": ""}}, length_unit="ft", diameter_unit="in", elevation_unit="m",
    vertical_datum="NAVD 88", crs="EPSG:3734", coordinate_unit="us-ft", swap_axes="yes",
    heights="invert", points="lines", drawn="upstream", date_order="mdy",
    encoding="cp1252", role="main", located_by="machine_log", made_by="somebody", source_kind="machine log",
    position_error_m=0.5, height_error_m=0.03, gap_distance_m=4.0, gap_time_s=60.0,
)


def test_a_profile_says_again_what_was_said():
    read = load_profile(dump_profile(FULL, "logs"), "a.json")
    assert (read.name, read.answers, read.said) == ("logs", FULL, ())


def test_of_an_empty_one_nothing_is_said():
    assert json.loads(dump_profile(Answers(), "x")) == {VERSION_KEY: 1, "name": "x"}
    read = load_profile(dump_profile(Answers(), "x"), "a.json")
    assert repr(read.answers) == repr(Answers())


def test_unknown_keys_and_newer_versions_are_said():
    text = json.dumps({VERSION_KEY: 3, "crs": "EPSG:1", "colour": "red", "units": {"length": "m", "area": "ha"},
                       "gaps": {"turn": 3}})
    read = load_profile(text, "a.json")
    assert (read.answers.crs, read.answers.length_unit) == ("EPSG:1", "m")
    assert [words in said for words, said in zip(("version 3", "'colour'", "'units.area'", "'gaps.turn'"),
                                                 read.said)] == [
        True] * 4


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "is no JSON"),
        ("[]", "is no import profile"),
        ('{"crs": "x"}', "is no import profile"),
        ('{"%s": "new"}', "has the version 'new'"),
        ('{"%s": 1, "units": {"length": "ell"}}', "for 'length' the value 'ell': use one of ft"),
        ('{"%s": 1, "units": []}', None),
        ('{"%s": 1, "units": ["ft"]}', "'units' that is no list of names"),
        ('{"%s": 1, "crs": 3734}', "for 'crs' the value 3734: write it in quotes"),
        ('{"%s": 1, "position_error_m": -1}', "'position_error_m' the value -1: write a number, 0 or more"),
        ('{"%s": 1, "position_error_m": true}', "write a number"),
        ('{"%s": 1, "role": "branch"}', "for 'role' the value 'branch'"),
        ('{"%s": 1, "fields": {"pipes": {"a": "b"}}}', "has the layer 'pipes'"),
        ('{"%s": 1, "fields": {"drains": {"colour": "b"}}}', "has 'colour', which has no meaning here"),
        ('{"%s": 1, "values": {"role": {"x": "branch"}}}', "has role 'branch', which is not known"),
    ],
)
def test_a_profile_that_cannot_be_used_says_why(text, said):
    text = text.replace("%s", VERSION_KEY)
    if said is None:
        assert load_profile(text, "a.json").said == ()
        return
    with pytest.raises(ProfileError, match=said):
        load_profile(text, "a.json")


def test_what_is_said_now_comes_before_the_profile():
    now = Answers(fields={"": {"diameter": "D2"}}, crs="EPSG:2", gap_time_s=5)
    both = now.over(FULL)
    assert (both.crs, both.gap_time_s, both.gap_distance_m, both.role) == ("EPSG:2", 5, 4.0, "main")
    assert both.fields_of("drains") == {"diameter": "SIZE", "status": "'in_ground'"}
    assert Answers(fields={"drains": {"diameter": "D2"}}).over(FULL).fields_of("drains")["diameter"] == "D2"


def test_maps_written_as_text():
    assert parse_field_map("diameter = SIZE\nline=Run; structures.kind = TYPE;status='proposed'") == {
        "": {"diameter": "SIZE", "line": "Run", "status": "'proposed'"}, "structures": {"kind": "TYPE"}}
    assert parse_value_map("role: T=1 = lateral; material: Old: x = ") == {
        "role": {"T=1": "lateral"}, "material": {"Old: x": ""}}
    assert parse_field_map("  ") == parse_value_map("") == {}


@pytest.mark.parametrize(
    ("parse", "text", "said"),
    [(parse_field_map, "diameter SIZE", "without an equals sign"),
     (parse_field_map, "bore = X", "'bore', which has no meaning"),
     (parse_field_map, "pipes.role = X", "layer 'pipes'"), (parse_value_map, "role T1 = lateral", "write for instance"),
     (parse_value_map, "role: T1 = branch", "'branch', which is not known"), (parse_value_map, "name: a = b",
                                                                              "has no list")],
)  # fmt: skip
def test_maps_that_cannot_be_read(parse, text, said):
    with pytest.raises(FieldMapError, match=said):
        parse(text)


words = st.text(st.characters(codec="utf-8", exclude_characters=";\n=:'\""), min_size=1, max_size=12).map(str.strip)


@given(st.dictionaries(st.sampled_from(["name", "diameter", "role"]), words), st.floats(0, 1e4), words)
def test_any_profile_comes_back(fields, gap, datum):
    said = Answers(fields={"drains": fields} if fields else {}, gap_distance_m=gap, vertical_datum=datum)
    assert repr(load_profile(dump_profile(said, "p"), "a.json").answers) == repr(said)
