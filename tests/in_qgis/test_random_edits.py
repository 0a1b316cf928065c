"""Whatever programs do to an archive, its history rebuilds every earlier state exactly, and undo goes all the way back
and forth.

`make test` makes 400 edits, `make test-long` 10,000.
"""

import datetime
import hashlib
import sqlite3
from contextlib import closing

import pytest
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.history.past import present_rows, rows_at
from fallkeeper.plugin.history.triggers import trigger_faults
from fallkeeper.plugin.history.undo import Chosen, undo
from fallkeeper.plugin.qgis_layer.archive import create_archive
from long_runs import report, times
from qgis.core import QgsCoordinateReferenceSystem
from random_edits import LAYERS, Editors

EDITS = times(400, 10_000)


def digest(rows):
    """Of every value with its type: 3 is not 3.0, and -0.0 is not 0.0."""
    told = repr([sorted(row.items()) for row in rows])
    return hashlib.sha256(told.encode("utf-8", "surrogatepass")).digest()


def state(connection, name):
    return digest(sorted(present_rows(connection, name), key=lambda row: row["fid"]))


@pytest.mark.long
@pytest.mark.parametrize("seed", [1])
def test_every_earlier_state_is_rebuilt(qgis_app, tmp_path, seed):
    path = tmp_path / "archive ü.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem("EPSG:3734"), "us")
    day = datetime.date.today()
    with closing(open_archive(path)) as connection:
        first = {name: state(connection, name) for name in LAYERS}
    editors, seen = Editors(path, seed), {name: [] for name in LAYERS}
    try:
        for number in range(EDITS):
            if number == EDITS // 2:
                middle = {name: state(editors.sql, name) for name in LAYERS}
                editors.sql.execute("UPDATE history_note SET batch = 'second half'")  # whoever edits
            before = last_entry(editors.sql)
            name = editors.edit()
            seen[name].append((last_entry(editors.sql), state(editors.sql, name)))
            if seen[name][-1][0] == before:  # refused: nothing was written, and nothing changed
                assert seen[name][-1][1] == (seen[name][-2][1] if len(seen[name]) > 1 else first[name])
        editors.sql.execute("UPDATE history_note SET batch = NULL")
        last = {name: state(editors.sql, name) for name in LAYERS}
    finally:
        editors.close()
    report("random edits", f"{EDITS:,} made, of which {_told(editors.done)}; {_told(editors.refused)} refused")
    kinds = ("insert", "update", "shape", "key", "delete")
    assert min(editors.done[program, kind] for program in ("sql", "ogr", "qgis") for kind in kinds) >= EDITS / 500
    assert editors.done["sql", "replace"] >= EDITS / 500
    assert sum(editors.refused.values()) < EDITS / 5
    with closing(open_archive(path)) as connection:
        assert trigger_faults(connection) == []
        assert connection.execute("SELECT count(*) FROM history WHERE action = 'gap'").fetchone() == (0,)
        for name in LAYERS:
            assert digest(rows_at(connection, name, 0)) == first[name]
            for seq, wanted in seen[name]:
                assert digest(rows_at(connection, name, seq)) == wanted, (name, seq)
    taken_back = take_back(path, Chosen("second half"), middle)
    take_back(path, Chosen(taken_back), last)
    if datetime.date.today() == day:
        take_back(path, Chosen(day=day), first)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def take_back(path, chosen, wanted):
    """The undo's own batch, after which the archive has the state wanted."""
    batch = undo(path, chosen).batch
    with closing(open_archive(path)) as connection:
        assert {name: state(connection, name) for name in LAYERS} == wanted
    return batch


def _told(counted):
    programs = {name: sum(counted[one] for one in counted if one[0] == name) for name in ("sql", "ogr", "qgis")}
    return ", ".join(f"{count:,} by {program}" for program, count in programs.items())


def last_entry(connection):
    return connection.execute("SELECT coalesce(max(seq), 0) FROM history").fetchone()[0]
