"""A repair: the drain is cut, the old pipe stays as abandoned, the new one is there, the trail leads to the call."""

import datetime
import math
import sqlite3
from contextlib import closing

import pytest
import shapely
from archives import copied_sample, dump
from fallkeeper.plugin.history.batch import archive_batch
from fallkeeper.plugin.history.blobs import point_wkb
from fallkeeper.plugin.history.past import present_rows
from fallkeeper.plugin.history.repair import Repair, record_repair
from fallkeeper.plugin.history.stretches import Way
from fallkeeper.plugin.history.undo import Chosen, undo
from fallkeeper.plugin.schema.faults import ArchiveError
from fallkeeper.plugin.schema.kept_rows import well_known_binary
from hypothesis import given
from hypothesis import strategies as st

CALL = "C-1"
DAY = datetime.date(2026, 5, 10)
X, Y = 2_100_000.0, 800_000.0
OLD_A = {"invert_start": 698.0, "invert_end": 694.0, "depth_start": 3.0, "depth_end": 5.0}


@pytest.fixture
def path(tmp_path):
    """The sample, with a drain of 400 ft that bends, apart from all others."""
    path = copied_sample(tmp_path)
    with archive_batch(path, "test", "a drain apart") as batch:
        batch.insert("drains", {
            "drain_id": "Q", "name": "Quiet main", "role": "main", "diameter": 8.0, "material": "clay",
            "openings": "open_joints", "installed_on": datetime.date(1962, 5, 1), "note": "old", **OLD_A,
        }, line((0, 3000), (100, 3000), (100, 3300)))
    return path


def at(x, y):
    return X + x, Y + y


def line(*places):
    return shapely.to_wkb(shapely.LineString([at(*place) for place in places]))


def rows(path, layer="drains"):
    with closing(sqlite3.connect(path)) as connection:
        key = {"drains": "drain_id", "repairs": "repair_id", "shots": "shot_id"}.get(layer, "fid")
        return {row[key]: row for row in present_rows(connection, layer)}


def shape(row):
    return shapely.from_wkb(well_known_binary(row["geom"]))


def repaired(path, drain="Q", tolerance=1.0, reach=100.0, **told):
    told = told or {"station_from": 150.0, "station_to": 250.0}
    return record_repair(path, Repair(drain, told.pop("done_on", DAY), **told), tolerance, reach, who="Ada")


def test_a_stretch_between_two_stations(path):
    before = len(rows(path))
    done = repaired(path, station_from=250.0, station_to=150.0, diameter=8.0, material="smooth_plastic",
                    openings="none", found="roots", done="solid pipe", photo="p/1.jpg", call_id=CALL)
    now = rows(path)
    assert len(now) == before + 3
    assert (done.length, done.left_behind, done.crossed) == (100.0, (), ())
    upper, lower = (now[key] for key in done.left)
    old, new = now[done.old], now[done.new]
    assert (done.left, done.old, done.new) == (("Q", "Q.3"), "Q.2", "Q.4")
    assert shape(old).equals(shape(new)) and shape(old).coords[0] == at(100, 3050)
    assert shape(upper).coords[-1] == shape(old).coords[0] and shape(old).coords[-1] == shape(lower).coords[0]
    assert math.isclose(shape(upper).length + shape(old).length + shape(lower).length, 400.0)
    assert (old["status"], old["in_ground_to"], old["replaced_by"]) == ("abandoned", "2026-05-09", done.new)
    assert (old["material"], old["installed_on"]) == ("clay", "1962-05-01")
    assert {name: new[name] for name in ("status", "in_ground_from", "installed_on", "material", "openings", "role",
                                         "name", "evidence", "edited_by", "replaced_by")} == {
        "status": "in_ground", "in_ground_from": "2026-05-10", "installed_on": "2026-05-10",
        "material": "smooth_plastic", "openings": "none", "role": "main", "name": "Quiet main", "evidence": "seen",
        "edited_by": "Ada", "replaced_by": None,
    }
    row = rows(path, "repairs")[done.repair_id]
    assert {name: row[name] for name in ("drain_id", "done_on", "found", "done", "length", "photo", "call_id")} == {
        "drain_id": done.new, "done_on": "2026-05-10", "found": "roots", "done": "solid pipe", "length": 100.0,
        "photo": "p/1.jpg", "call_id": CALL,
    }
    assert shape(row).equals(shapely.Point(at(100, 3100)))


def test_levels_at_the_cuts_are_interpolated_and_marked_assumed(path):
    done = repaired(path)
    now = rows(path)
    upper, lower = (now[key] for key in done.left)
    assert (upper["invert_start"], upper["invert_end"], lower["invert_start"], lower["invert_end"]) == (
        698.0, 696.5, 695.5, 694.0)
    assert (upper["depth_end"], lower["depth_start"]) == (3.75, 4.25)
    assert "assumed" in upper["note"] and upper["note"].endswith("invert_end, depth_end.")
    assert lower["note"].startswith("old\n") and lower["note"].endswith("invert_start, depth_start.")
    assert (now[done.old]["invert_start"], now[done.old]["invert_end"]) == (696.5, 695.5)
    assert (now[done.new]["invert_start"], now[done.new]["depth_start"]) == (696.5, None)
    assert now[done.new]["note"].endswith("assumed, since not measured but taken from the old pipe: invert_start, "
                                          "invert_end.")


def test_measured_levels_are_not_called_assumed(path):
    done = repaired(path, station_from=250.0, station_to=150.0, invert_from=695.4, invert_to=696.6, invert_error=0.02)
    now = rows(path)
    upper, lower = (now[key] for key in done.left)
    new = now[done.new]
    assert (new["invert_start"], new["invert_end"], new["invert_error"]) == (696.6, 695.4, 0.02)
    assert "assumed" not in new["note"]
    assert (upper["invert_end"], lower["invert_start"]) == (696.6, 695.4)
    assert upper["note"].endswith("the old line: depth_end.")
    assert (now[done.old]["invert_start"], now[done.old]["invert_end"]) == (696.5, 695.5)


def test_what_is_unknown_stays_unknown(path):
    with archive_batch(path, "test", "one end is unknown") as batch:
        batch.update("drains", "Q", {"invert_start": None, "depth_start": None, "depth_end": None})
    done = repaired(path)
    now = rows(path)
    upper, lower = (now[key] for key in done.left)
    assert (upper["invert_start"], upper["invert_end"], lower["invert_start"], lower["invert_end"]) == (
        None, None, None, 694.0)
    for key in (*done.left, done.old, done.new):
        assert "assumed" not in now[key]["note"]


def test_it_is_one_batch_that_can_be_undone(path):
    before = dump(path)
    done = repaired(path, call_id=CALL, station_from=0.0, station_to=150.0, found="roots")
    with closing(sqlite3.connect(path)) as connection:
        told = connection.execute("SELECT DISTINCT who, why FROM history WHERE batch = ?", [done.batch]).fetchall()
    assert told == [("Ada", f"Repair of Q on 2026-05-10, call {CALL}: roots")]
    undo(path, Chosen(batch=done.batch), "Ada")
    after = dump(path)
    del before["history"], after["history"]
    assert after == before


def test_the_whole_drain_and_its_end(path):
    done = repaired(path, station_from=0.4, station_to=399.9)
    now = rows(path)
    assert (done.left, done.old, done.new, done.length) == ((), "Q", "Q.2", 400.0)
    assert (now["Q"]["status"], now["Q"]["replaced_by"]) == ("abandoned", "Q.2")
    assert now["Q.2"]["invert_start"] == 698.0
    done = repaired(path, "Q.2", station_from=300.0, station_to=400.0)
    assert (done.left, done.old) == (("Q.2",), "Q.2.2")


def test_two_points_find_the_drain(path):
    done = repaired(path, "", points=(at(103, 3050), at(96, 3150)))
    assert rows(path)[done.new]["name"] == "Quiet main" and done.length == 100.0
    with pytest.raises(ArchiveError, match="No drain in the ground of .* lies near both places"):
        repaired(path, "", points=(at(100, 3250), at(100, 9000)))
    with pytest.raises(ArchiveError, match="the drain a stretch of which was replaced"):
        repaired(path, "A-1", points=(at(100, 3250), at(100, 3290)))
    with archive_batch(path, "test", "the same line twice") as batch:
        batch.insert("drains", {"drain_id": "Q again", "role": "main"}, line((100, 3250), (100, 3400)))
    with pytest.raises(ArchiveError, match="Both drain Q"):
        repaired(path, "", points=(at(100, 3260), at(100, 3290)))


def test_along_another_way(path):
    route = [at(100, 3150), at(60, 3150), at(60, 3050), at(100, 3050)]
    with pytest.raises(ArchiveError, match=r"An end of the new pipe lies 5.0 from drain Q, where 1 is the most"):
        repaired(path, route=[at(95, 3250), at(60, 3290), at(100, 3290)])
    done = repaired(path, route=route, invert_from=695.5, invert_to=696.4)
    now = rows(path)
    new = now[done.new]
    assert done.length == 180.0 and (new["invert_start"], new["invert_end"]) == (696.4, 695.5)
    assert list(shape(new).coords) == route[::-1]
    assert shape(now[done.old]).length == 100.0


def test_laterals_that_are_left_behind_or_crossed_are_named(path):
    with archive_batch(path, "test", "laterals") as batch:
        for name, places in {"on": ((300, 3100), (100, 3100)), "below": ((300, 3200), (100, 3200)),
                             "across": ((-100, 3120), (100, 3120))}.items():
            batch.insert("drains", {"drain_id": name, "role": "lateral", "spacing": 50.0}, line(*places))
    done = repaired(path, route=[at(100, 3150), at(60, 3150), at(60, 3050), at(100, 3050)])
    assert (done.left_behind, done.crossed) == (("across", "on"), ("across",))


def test_laterals_run_into_the_new_pipe_that_lies_where_the_old_one_did(path):
    with archive_batch(path, "test", "laterals") as batch:
        batch.insert("drains", {"drain_id": "on", "role": "lateral", "spacing": 50.0}, line((300, 3100), (100, 3100)))
    assert repaired(path).left_behind == ()


def test_shots_and_accepted_findings_go_with_their_part(path):
    with archive_batch(path, "test", "shots") as batch:
        for name, y in (("s1", 3010), ("s2", 3100), ("s3", 3250)):
            batch.insert("shots", {"shot_id": name, "drain_id": "Q", "elevation": 696.0, "of": "invert"},
                         point_wkb(at(100, y)))
        batch.insert("accepted", {"check": "sag", "drain_id": "Q", "station_from": 300.0, "station_to": 320.0})
    done = repaired(path)
    upper, lower = done.left
    assert {name: rows(path, "shots")[name]["drain_id"] for name in ("s1", "s2", "s3")} == {
        "s1": upper, "s2": done.old, "s3": lower}
    (row,) = [row for row in rows(path, "accepted").values() if row["check"] == "sag"]
    assert (row["drain_id"], row["station_from"], row["station_to"]) == (lower, 50.0, 70.0)


@pytest.mark.parametrize(("told", "match"), [
    ({"drain": "none", "station_from": 1.0, "station_to": 9.0}, "There is no drain 'none'"),
    ({"station_from": 100.0, "station_to": 500.0}, "is no stretch of drain Q, which is 400.0 long"),
    ({"station_from": 100.0, "station_to": 100.5}, "is no stretch of drain Q"),
    ({"station_from": 100.0}, "Give one of these"),
    ({"station_from": 1.0, "station_to": 9.0, "route": [at(0, 3000), at(50, 3000)]}, "Give one of these"),
    ({"station_from": 1.0, "station_to": 9.0, "call_id": "C99"}, "There is no call 'C99'"),
    ({"station_from": 1.0, "station_to": 9.0, "done_on": datetime.date(1950, 1, 1)}, "was laid on 1962-05-01, after"),
    ({"station_from": 1.0, "station_to": 9.0, "material": "gold"}, "Material is not known"),
    ({"drain": "", "station_from": 1.0, "station_to": 9.0}, "Say which drain was repaired"),
])
def test_refused_in_a_sentence_and_nothing_is_changed(path, told, match):
    before = dump(path)
    with pytest.raises(ArchiveError, match=match):
        repaired(path, **told)
    assert dump(path) == before


def test_pipe_that_is_not_in_the_ground_is_not_repaired(path):
    done = repaired(path)
    with pytest.raises(ArchiveError, match="is abandoned: a repair replaces pipe that is in the ground"):
        repaired(path, done.old, station_from=0.0, station_to=50.0)


@given(st.lists(st.tuples(st.integers(0, 50), st.integers(0, 50)), min_size=2, max_size=6, unique=True),
       st.floats(0, 1), st.floats(0, 1))
def test_stretches_of_a_way_fit_together(places, one, other):
    way = Way([(float(x), float(y)) for x, y in places])
    first, last = sorted((one * way.length, other * way.length))
    parts = [way.stretch(a, b) for a, b in ((0.0, first), (first, last), (last, way.length))]
    assert parts[0][-1] == parts[1][0] and parts[1][-1] == parts[2][0]
    assert math.isclose(sum(Way(part).length for part in parts), way.length, abs_tol=1e-9)
