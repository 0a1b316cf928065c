"""The schema is data that other parts build on: it must be complete and keep to itself."""

import sqlite3

import archives
import pytest
from fallkeeper.plugin.schema import LAYERS, SCHEMA_VERSION, layer
from fallkeeper.plugin.schema.declare import GEOMETRIES, KINDS, UNIT_KINDS
from fallkeeper.plugin.schema.rules import rules
from fallkeeper.plugin.schema.sqlite import triggers
from fallkeeper.plugin.schema.values import VALUE_LISTS
from fallkeeper.plugin.units import METRIC, US, Units

ALL_FIELDS = [(one.name, field) for one in LAYERS for field in one.fields]

# the public names: they stand in users' models, scripts and files
PUBLIC = {
    "archive": "name units vertical_datum ground ground_unit schema_version created_on",
    "drains": "drain_id name role status material openings sock diameter depth_start depth_end invert_start invert_end "
    "invert_error spacing evidence located_by position_error installed_on in_ground_from in_ground_to layout_id "
    "replaced_by",
    "shots": "shot_id drain_id elevation of error taken_on",
    "structures": "structure_id name kind invert rim flow receiving_water water_level bed_level guard evidence photo",
    "land": "land_id name owner contact parcel_no use coefficient",
    "trees": "tree_id name thirst",
    "tree_rows": "tree_id name thirst",
    "woods": "tree_id name thirst",
    "landmarks": "landmark_id name durable position_error",
    "calls": "call_id received_on caller contact about status locate_ticket locate_valid_until done_on",
    "readings": "reading_id kind observed_on observer depth level flow days_since_rain rain photo call_id",
    "tapes": "tape_id target landmark_id toward_id distance kind tape_error side",
    "layout_lines": "layout_line_id layout_id brought_as class done drain_id source",
    "layouts": "layout_id name made_by made_on source_kind scan position_error",
    "repairs": "repair_id drain_id done_on found done length photo call_id",
    "limits": "name value unit source",
    "accepted": "check drain_id station_from station_to value reason accepted_by accepted_on",
    "predictions": "prediction_id made_on reaches repair_id score",
    "history": "seq batch layer key new_key action at who why before",
}
REQUIRED = {
    "drains": {"drain_id", "role"},
    "shots": {"shot_id", "elevation", "of"},
    "structures": {"structure_id", "kind"},
    "land": {"land_id"},
    "trees": {"tree_id"},
    "tree_rows": {"tree_id"},
    "woods": {"tree_id"},
    "landmarks": {"landmark_id"},
    "calls": {"call_id"},
    "readings": {"reading_id", "kind"},
    "tapes": {"tape_id", "target", "landmark_id", "distance"},
    "layout_lines": {"layout_line_id", "layout_id"},
    "layouts": {"layout_id"},
    "repairs": {"repair_id"},
}


def test_every_public_layer_and_field_is_there_and_no_other():
    declared = {one.name: {field.name for field in one.fields} for one in LAYERS}
    assert declared == {name: set(fields.split()) | {"note", "edited_by"} for name, fields in PUBLIC.items()}


def test_required_fields_are_those_of_the_interface():
    declared = {one.name: {field.name for field in one.fields if field.required} for one in LAYERS}
    assert {name: fields for name, fields in declared.items() if fields} == REQUIRED


@pytest.mark.parametrize("one", LAYERS, ids=lambda one: one.name)
def test_every_field_is_fully_declared(one):
    for field in one.fields:
        assert field.kind in KINDS, field
        assert field.unit in UNIT_KINDS, field
        assert field.alias and field.tab, field
        assert field.meaning.endswith("."), field
        assert not field.values or field.values in VALUE_LISTS, field
        assert not field.refers_to or layer(field.refers_to).key.kind == field.kind, field


@pytest.mark.parametrize("one", LAYERS, ids=lambda one: one.name)
def test_a_form_page_holds_at_most_seven_fields(one):
    pages = [field.tab for field in one.fields]
    assert max(pages.count(page) for page in pages) <= 7
    assert one.geometry in GEOMETRIES
    assert one.title
    assert one.meaning.endswith(".")


def test_units_stand_in_the_alias():
    diameter = layer("drains").field("diameter")
    assert diameter.alias_in(Units(US)) == "Inside diameter (in)"
    assert diameter.alias_in(Units(METRIC)) == "Inside diameter (mm)"
    assert layer("drains").field("invert_start").alias_in(Units(METRIC)) == "Invert at start (m)"
    assert layer("land").field("coefficient").alias_in(Units(US)) == "Drainage coefficient (in/day)"
    assert layer("structures").field("flow").alias_in(Units(US)) == "Constant inflow (gal/min)"
    assert layer("drains").field("role").alias_in(Units(US)) == "Role"


def test_figures_in_an_archives_unit_say_so():
    """A figure without a unit kind must be a count, a share or carry its unit beside it."""
    bare = {f"{name}.{field.name}" for name, field in ALL_FIELDS if field.kind == "real" and not field.unit}
    assert bare == {"readings.days_since_rain", "limits.value", "accepted.value", "predictions.score"}


def test_people_who_say_tile_find_the_word():
    assert "tile" in layer("drains").title
    assert "tile" in layer("drains").field("material").choices["clay"]


def test_sentences_name_what_may_be_used():
    sentences = {rule.field: rule.sentence for rule in rules(layer("drains"))}
    assert sentences["role"] == "Role is not known: use lateral, submain, main or outlet_pipe."
    assert sentences["diameter"] == "Inside diameter must be a number above 0; leave it empty if unknown."
    assert sentences["depth_end"] == "Depth at end must be a number, 0 or more; leave it empty if unknown."


def test_unknown_keys_and_layers_are_program_faults():
    with pytest.raises(KeyError):
        layer("pipes")
    with pytest.raises(KeyError):
        layer("drains").field("pipe_id")


def test_schema_version():
    assert SCHEMA_VERSION == 3


@pytest.fixture
def table():
    """The table `tapes` with its triggers, without any GIS."""
    connection = archives.bare_archive("tapes")
    yield connection
    connection.close()


def _insert(connection, **values):
    row = {"tape_id": "T1", "target": "P1", "landmark_id": "L1", "distance": 140.0, **values}
    names = ", ".join(f'"{name}"' for name in row)
    marks = ", ".join("?" for _ in row)
    connection.execute(f"INSERT INTO tapes ({names}) VALUES ({marks})", list(row.values()))


def test_a_good_row_is_taken_and_may_be_changed(table):
    _insert(table)
    _insert(table, tape_id="T2", kind="along", tape_error=0.0)
    table.execute("UPDATE tapes SET distance = 12, tape_id = 'T3' WHERE tape_id = 'T2'")
    assert table.execute("SELECT tape_id, distance FROM tapes").fetchall() == [("T1", 140.0), ("T3", 12.0)]


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"tape_id": None}, "Tape figure has no key"),
        ({"tape_id": "  "}, "Tape figure has no key"),
        ({"tape_id": "T0"}, "Tape figure has the key of another tape figure: keys must differ."),
        ({"target": None}, "Target is missing"),
        ({"target": " "}, "Target is missing"),
        ({"landmark_id": None}, "From landmark is missing"),
        ({"distance": None}, "Distance must be a number, 0 or more."),
        ({"distance": -1.0}, "Distance must be a number, 0 or more."),
        ({"distance": "far"}, "Distance must be a number, 0 or more."),
        ({"kind": "across"}, "Kind is not known: use distance, along or away, or leave it empty."),
        ({"tape_error": -0.5}, "Error of the tape must be a number, 0 or more; leave it empty if unknown."),
    ],
)
def test_a_bad_row_is_refused_with_its_sentence(table, values, sentence):
    _insert(table, tape_id="T0")
    with pytest.raises(sqlite3.IntegrityError, match=sentence):
        _insert(table, **values)
    _insert(table)
    changes = ", ".join(f'"{name}" = ?' for name in values)
    with pytest.raises(sqlite3.IntegrityError, match=sentence):
        table.execute(f"UPDATE tapes SET {changes} WHERE tape_id = 'T1'", list(values.values()))


def test_the_archive_describes_itself_in_one_row():
    assert any("one row only" in statement for statement in triggers(layer("archive")))
