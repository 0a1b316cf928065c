"""The layers in PostgreSQL: the rules of the file with its sentences, a history of every change, two roles."""

import json
import random
import re
import sqlite3
import struct

import pytest
from archives import bare_archive
from fallkeeper.plugin.schema import LAYERS, layer
from fallkeeper.plugin.schema.declare import BOOLEAN, INTEGER, REAL
from fallkeeper.plugin.schema.kept_rows import read_kept_row, well_known_binary
from fallkeeper.plugin.schema.postgres import LONGEST_NAME, index_statements, table_statements
from fallkeeper.plugin.schema.postgres_guards import HISTORY_STAYS, NOT_EMPTIED, guard_statements
from fallkeeper.plugin.schema.postgres_roles import create_role_statements, grant_statements, role_names
from fallkeeper.plugin.schema.rules import literal, quoted, rules
from fallkeeper.plugin.units import US, Units

FEET = 2264
SCHEMA = "the county's"
LINE = f"'SRID={FEET};LINESTRING(0 0, 100 0)'"
PLACES = {
    "": None,
    "Point": f"'SRID={FEET};POINT(1 2)'",
    "LineString": LINE,
    "Polygon": f"'SRID={FEET};POLYGON((0 0,1 0,1 1,0 0))'",
}
ONE_BY_ONE = ";\n"


class Archive:
    """An empty archive in a database of its own, with psql's answers."""

    def __init__(self, server, database):
        self.server, self.database = server, database

    def run(self, *statements, user="postgres"):
        path = f"SET search_path = {quoted(SCHEMA)}, public" + ONE_BY_ONE
        return self.server.sql(path + ONE_BY_ONE.join(statements), self.database, user)

    def history(self, *columns):
        """Rows of the history in order, each a dict."""
        lines = self.run("SELECT to_json(h) FROM history h ORDER BY seq")
        entries = [json.loads(line) for line in lines.splitlines()]
        return [tuple(entry[name] for name in columns) for entry in entries] if columns else entries


@pytest.fixture(scope="module")
def shared_archive(database_server):
    """Not to be written to: the others are copies of it."""
    made = Archive(database_server, database_server.new_database())
    tables = table_statements(SCHEMA, FEET, Units(US), "public")
    guards = guard_statements(SCHEMA, "public")
    made.run(f"CREATE SCHEMA {quoted(SCHEMA)}", *tables, *index_statements(SCHEMA), *guards)
    return made


@pytest.fixture
def archive(database_server, shared_archive):
    return Archive(database_server, database_server.new_database(shared_archive.database))


def drain(key="A", **values):
    row = {"geom": LINE, "drain_id": literal(key), "role": "'main'", **values}
    return f"INSERT INTO drains ({', '.join(row)}) VALUES ({', '.join(row.values())})"


def test_every_field_is_there_with_its_kind(shared_archive):
    lines = shared_archive.run(
        "SELECT table_name, column_name, data_type, is_nullable FROM information_schema.columns "
        f"WHERE table_schema = {literal(SCHEMA)}"
    )
    there = {tuple(line.split("|")[:2]): line.split("|")[2:] for line in lines.splitlines()}
    kinds = {"text": "text", "real": "double precision", "integer": "bigint", "boolean": "integer", "date": "date",
             "datetime": "timestamp without time zone"}
    for one in LAYERS:
        for field in one.fields:
            kind, nullable = there[one.name, field.name]
            assert kind == kinds[field.kind], (one.name, field.name)
            assert nullable == ("NO" if field.required or field.name == "seq" else "YES"), (one.name, field.name)


def test_places_have_their_kind_their_system_and_an_index(shared_archive):
    lines = shared_archive.run("SELECT f_table_name, type, srid, coord_dimension FROM geometry_columns")
    there = {tuple(line.split("|")) for line in lines.splitlines()}
    assert there == {(one.name, one.geometry.upper(), str(FEET), "2") for one in LAYERS if one.geometry}
    indexes = shared_archive.run("SELECT tablename FROM pg_indexes WHERE indexdef LIKE '%USING gist%'").split()
    assert sorted(indexes) == sorted(one.name for one in LAYERS if one.geometry)


def test_comments_tell_units(shared_archive):
    words = shared_archive.run("SELECT col_description('drains'::regclass, attnum) FROM pg_attribute "
                               "WHERE attrelid = 'drains'::regclass AND attname = 'diameter'")
    assert words == "Inside diameter (in). Inside diameter of the pipe."


def test_a_new_row_gets_a_key_of_its_own(archive):
    archive.run(f"INSERT INTO drains (geom, role) VALUES ({LINE}, 'main'), ({LINE}, 'main')")
    keys = archive.run("SELECT drain_id FROM drains").split()
    assert len(set(keys)) == 2
    assert all(re.fullmatch("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", key) for key in keys)


def test_constraint_names_fit():
    for statement in table_statements(SCHEMA, FEET, Units(US), "public"):
        assert all(len(name) <= LONGEST_NAME for name in re.findall('CONSTRAINT "([^"]+)"', statement))


# Both dialects, same verdict and same sentence

_TRIED = {
    REAL: ["-1.5", "0.0", "0", "2.5", "1e300", "NULL"],
    INTEGER: ["-1", "0", "7", "NULL"],
    BOOLEAN: ["-1", "0", "1", "2", "NULL"],
}
_WORDS = ["''", "' '", "'nobody knows'", "NULL"]


def _cases():
    """(layer, field, value as SQL): every field with a rule, one bad or good value at a time."""
    for one in LAYERS:
        ruled = {rule.field for rule in rules(one) if rule.holds}
        for field in one.fields:
            if field.name in ruled:
                tried = _TRIED.get(field.kind) or [*_WORDS, *(literal(choice) for choice in field.choices)]
                yield from ((one, field, value) for value in tried)


def _good_row(one):
    row = {"geom": PLACES[one.geometry]} if one.geometry else {}
    for field in one.fields:
        if field.required or field.key:
            row[field.name] = "1.0" if field.kind == REAL else literal(next(iter(field.choices), "K"))
    return row or {"note": "'n'"}


def _insert(one, field, value):
    row = {**_good_row(one), field.name: value}
    columns = ", ".join(quoted(name) for name in row)
    return f"INSERT INTO {quoted(one.name)} ({columns}) VALUES ({', '.join(row.values())})"


def _sqlite_verdicts(cases):
    verdicts = []
    for one, field, value in cases:
        connection = bare_archive(one.name, with_places=False)
        try:
            connection.execute(_insert(one, field, value))
            verdicts.append("")
        except sqlite3.IntegrityError as fault:
            verdicts.append(str(fault))
        finally:
            connection.close()
    return verdicts


def test_rows_are_refused_as_in_a_file_with_the_same_sentences(archive):
    cases = list(_cases())
    assert len(cases) > 250
    script = ["CREATE TEMP TABLE verdicts (number int, sentence text)"]
    for number, case in enumerate(cases):
        script.append(
            f"DO $try$ BEGIN {_insert(*case)}; RAISE 'taken'; "
            f"EXCEPTION WHEN others THEN INSERT INTO verdicts VALUES ({number}, SQLERRM); END $try$"
        )
    lines = archive.run(*script, "SELECT sentence FROM verdicts ORDER BY number").splitlines()
    in_database = ["" if line == "taken" else line for line in lines]
    for case, database_says, file_says in zip(cases, in_database, _sqlite_verdicts(cases)):
        assert database_says == file_says, (case[0].name, case[1].name, case[2])
    assert len([words for words in in_database if words]) > 100


@pytest.mark.parametrize("figure", ["'NaN'", "'Infinity'", "'-Infinity'"])
def test_what_is_no_number_is_refused(archive, figure):
    with pytest.raises(RuntimeError, match="Invert at start must be a number; leave it empty if unknown"):
        archive.run(drain(invert_start=figure))


@pytest.mark.parametrize(
    ("geom", "words"),
    [
        (f"'SRID={FEET};LINESTRING EMPTY'", "A drain must be drawn as one unbroken line without heights"),
        ("NULL", "A drain must be drawn as one unbroken line without heights"),
        (f"'SRID={FEET};POINT(0 0)'", "does not match column type"),
        (f"'SRID={FEET};MULTILINESTRING((0 0,1 1),(2 2,3 3))'", "does not match column type"),
        (f"'SRID={FEET};LINESTRING Z(0 0 1,1 1 1)'", "has Z dimension but column does not"),
        ("'SRID=2263;LINESTRING(0 0,1 1)'", "SRID"),
    ],
)
def test_a_wrong_place_is_refused(archive, geom, words):
    with pytest.raises(RuntimeError, match=words):
        archive.run(drain(geom=geom))
    assert archive.run("SELECT count(*) FROM drains") == "0"


def test_a_key_taken_is_refused_in_words(archive):
    archive.run(drain("A"), drain("B"))
    with pytest.raises(RuntimeError, match="Drain has the key of another drain"):
        archive.run(drain("A"))
    with pytest.raises(RuntimeError, match="Drain has the key of another drain"):
        archive.run("UPDATE drains SET drain_id = 'A' WHERE drain_id = 'B'")


def test_the_archive_describes_itself_in_one_row(archive):
    archive.run("INSERT INTO archive (name, units) VALUES ('a', 'us')", "UPDATE archive SET name = 'b'")
    with pytest.raises(RuntimeError, match="one row only"):
        archive.run("INSERT INTO archive (name, units) VALUES ('c', 'us')")


# History


def test_every_kind_of_statement_leaves_a_row(archive):
    archive.run(drain("A", diameter="4"))
    archive.run("UPDATE drains SET diameter = 6")
    archive.run(drain("A", diameter="8") + " ON CONFLICT (drain_id) DO UPDATE SET diameter = excluded.diameter")
    archive.run(drain("A", diameter="9") + " ON CONFLICT DO NOTHING")
    archive.run(f"INSERT INTO drains (geom, drain_id, role) SELECT {LINE}, 'S'||n, 'main' FROM generate_series(1, 3) n")
    archive.run("COPY drains (drain_id, role, geom) FROM stdin;\nC\tmain\tSRID=2264;LINESTRING(0 0, 1 1)\n\\.\n")
    archive.run("UPDATE drains SET drain_id = 'B' WHERE drain_id = 'A'")
    archive.run("DELETE FROM drains WHERE drain_id = 'B'", "DELETE FROM drains WHERE drain_id = 'C'")
    assert archive.history("layer", "key", "new_key", "action") == [
        ("drains", "A", None, "insert"),
        ("drains", "A", None, "update"),
        ("drains", "A", None, "update"),
        ("drains", "S1", None, "insert"),
        ("drains", "S2", None, "insert"),
        ("drains", "S3", None, "insert"),
        ("drains", "C", None, "insert"),
        ("drains", "A", "B", "update"),
        ("drains", "B", None, "delete"),
        ("drains", "C", None, "delete"),
    ]
    kept = [read_kept_row(words) if words else None for (words,) in archive.history("before")]
    assert [row and row["diameter"] for row in kept] == [None, 4, 6, None, None, None, None, 8, 8, None]
    assert set(kept[1]) == {"fid", "geom", *(field.name for field in layer("drains").fields)}


def test_a_row_without_a_key_goes_by_its_number(archive):
    archive.run("INSERT INTO limits (name, value) VALUES ('least_cover', 2)", "UPDATE limits SET value = 3")
    archive.run("INSERT INTO predictions (prediction_id, note) VALUES (NULL, 'n')")
    assert archive.history("layer", "key", "action") == [
        ("limits", "#1", "insert"), ("limits", "#1", "update"), ("predictions", "#1", "insert"),
    ]


def test_when_is_utc_to_the_millisecond(archive):
    archive.run("SET timezone = 'America/Chicago'", drain("A"))
    ((at,),) = archive.history("at")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", at)
    apart = archive.run(f"SELECT abs(extract(epoch FROM now() - {literal(at)}::timestamptz)) < 60")
    assert apart == "t"


def test_batch_and_why_come_from_the_transaction(archive):
    settings = ("SET LOCAL fallkeeper.batch = 'b1'", "SET LOCAL fallkeeper.why = 'a merge'")
    archive.run("BEGIN", *settings, drain("A"), "COMMIT", drain("B"))
    assert archive.history("key", "batch", "why") == [("A", "b1", "a merge"), ("B", None, None)]


def test_a_transaction_taken_back_leaves_nothing(archive):
    archive.run("BEGIN", drain("A"), "ROLLBACK")
    assert archive.history() == []


def test_emptying_is_refused_and_the_history_stays(archive):
    archive.run(drain("A"))
    for statement in ("TRUNCATE drains", "TRUNCATE history"):
        with pytest.raises(RuntimeError, match=re.escape(NOT_EMPTIED)):
            archive.run(statement)
    for statement in ("DELETE FROM history", "UPDATE history SET who = 'nobody'"):
        with pytest.raises(RuntimeError, match=re.escape(HISTORY_STAYS)):
            archive.run(statement)
    assert len(archive.history()) == 1
    assert archive.run("SELECT count(*) FROM drains") == "1"


def test_who_is_the_login_with_the_name_where_that_says_more(archive):
    read, edit = role_names(archive.database, SCHEMA)
    archive.run(*create_role_statements((read, edit)), *grant_statements(archive.database, SCHEMA))
    for login in ("office", "bert"):
        archive.run(f"CREATE ROLE {login} LOGIN IN ROLE {quoted(edit)}")
    try:
        archive.run(drain("A"), user="office")
        archive.run("UPDATE drains SET diameter = 4, edited_by = 'Anna Meier'", user="office")
        archive.run("UPDATE drains SET diameter = 5", user="office")
        archive.run("UPDATE drains SET diameter = 6", user="bert")
        archive.run("DELETE FROM drains", user="bert")
    finally:
        _drop(archive, "office", "bert", read, edit)
    assert [who for (who,) in archive.history("who")] == [
        "office", "Anna Meier (office)", "Anna Meier (office)", "bert", "bert",
    ]


def test_roles_read_and_edit_and_nobody_else_does(archive):
    read, edit = role_names(archive.database, SCHEMA)
    archive.run(*create_role_statements((read, edit)), *grant_statements(archive.database, SCHEMA))
    archive.run(f"CREATE ROLE reader LOGIN IN ROLE {quoted(read)}", f"CREATE ROLE editor LOGIN IN ROLE {quoted(edit)}",
                "CREATE ROLE stranger LOGIN")
    try:
        archive.run(drain("A"), f"INSERT INTO drains (geom, role) VALUES ({LINE}, 'main')", user="editor")
        assert archive.run("SELECT count(*) FROM drains", user="reader") == "2"
        assert archive.run("SELECT count(*) FROM history", user="reader") == "2"
        for statement in ("UPDATE drains SET diameter = 4", "DELETE FROM drains", drain("B")):
            with pytest.raises(RuntimeError, match="permission denied"):
                archive.run(statement, user="reader")
        for statement in ("INSERT INTO history (who) VALUES ('x')", "DELETE FROM history", "TRUNCATE drains",
                          "UPDATE history SET who = 'x'", "DROP TABLE drains",
                          "ALTER TABLE drains DISABLE TRIGGER drains_history"):
            with pytest.raises(RuntimeError, match="permission denied|must be owner"):
                archive.run(statement, user="editor")
        with pytest.raises(RuntimeError, match="permission denied"):
            archive.run(f"SELECT * FROM {quoted(SCHEMA)}.drains", user="stranger")
    finally:
        _drop(archive, "reader", "editor", "stranger", read, edit)


def _drop(archive, *names):
    """Roles belong to the whole server, so the next test would meet them."""
    for name in names:
        archive.run(f"DROP OWNED BY {quoted(name)}", f"DROP ROLE {quoted(name)}")


def _any_real(chance):
    """A finite double with all its bits in use."""
    while True:
        value = struct.unpack("<d", chance.randbytes(8))[0]
        if value == value and abs(value) < 1e306:
            return value


def _random_edit(chance, number):
    keys = "ABCDEFGH"
    key = chance.choice(keys)
    shape = "ST_SetSRID(ST_GeomFromWKB('\\x" + _line_of(chance).hex() + f"'), {FEET})"
    level = chance.choice(["NULL", f"'{_any_real(chance)!r}'"])
    note = literal(chance.choice(['a "quote"', "back\\slash", "line\nbreak", "käse 🧀", '"geom":null', ""]))
    row = drain(key, geom=shape, invert_start=level, note=note)
    return chance.choice([
        row + " ON CONFLICT (drain_id) DO NOTHING",
        row + " ON CONFLICT (drain_id) DO UPDATE SET geom = excluded.geom, invert_start = excluded.invert_start",
        f"UPDATE drains SET invert_end = {level}, note = {note} WHERE drain_id = '{key}'",
        f"UPDATE drains SET geom = {shape} WHERE drain_id = '{key}'",
        f"UPDATE drains SET drain_id = 'N{number}' WHERE drain_id = '{key}'",
        f"DELETE FROM drains WHERE drain_id = '{key}'",
        f"DELETE FROM drains WHERE drain_id LIKE 'N%' AND invert_end > {number}",
    ])


def _line_of(chance):
    places = [chance.uniform(-1e7, 1e7) for _ in range(2 * chance.randint(2, 4))]
    return struct.pack(f"<BII{len(places)}d", 1, 2, len(places) // 2, *places)


_STATE = (
    "SELECT json_agg(json_build_object('key', drain_id, 'geom', encode(ST_AsBinary(geom, 'NDR'), 'hex'), 'from', "
    "invert_start, 'to', invert_end, 'note', note)) FROM drains"
)


def _state(rows):
    return {row["key"]: (bytes.fromhex(row["geom"]), row["from"], row["to"], row["note"]) for row in rows or []}


def test_the_history_rebuilds_every_earlier_state(archive):
    """300 random edits in 60 steps; each step's state, read from the table, against the one walked back to."""
    chance, number = random.Random(606), 0
    script, steps = [], 60
    for _ in range(steps):
        for _ in range(5):
            number += 1
            script.append(_random_edit(chance, number))
        script += ["SELECT coalesce(max(seq), 0) FROM history", _STATE]
    lines = archive.run(*script).splitlines()
    seen = {int(seq): _state(json.loads(state or "null")) for seq, state in zip(lines[::2], lines[1::2])}
    assert len(seen) > 40
    entries = archive.history()
    assert {entry["action"] for entry in entries} == {"insert", "update", "delete"}
    now = dict(seen[max(seen)])
    for entry in reversed(entries):
        if entry["seq"] in seen:
            assert now == seen[entry["seq"]], entry["seq"]
        if entry["action"] == "insert":
            del now[entry["key"]]
            continue
        now.pop(entry["new_key"] or entry["key"], None)
        kept = read_kept_row(entry["before"])
        now[entry["key"]] = (kept["geom"], kept["invert_start"], kept["invert_end"], kept["note"])
    assert now == {}


# Geometry of the history, as either kind of archive writes it

WKB = struct.pack("<BII4d", 1, 2, 2, 0.1, 0.2, 100.0, 0.0)


@pytest.mark.parametrize(("flags", "envelope"), [(0x01, 0), (0x03, 32), (0x05, 48), (0x07, 48), (0x09, 64)])
def test_geometry_of_a_file_comes_out_of_its_header(flags, envelope):
    blob = b"GP\0" + bytes([flags]) + struct.pack("<i", FEET) + bytes(envelope) + WKB
    assert well_known_binary(blob) == WKB
    assert well_known_binary(WKB) == WKB


def test_a_damaged_row_of_the_history_is_a_fault():
    with pytest.raises(ValueError, match="no known envelope"):
        well_known_binary(b"GP\0\x0b" + bytes(4) + WKB)
    with pytest.raises(ValueError, match="no JSON object"):
        read_kept_row("[1]")
