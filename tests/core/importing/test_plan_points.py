"""Logs, structures, level shots, texts of drawings and tables of places."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.importing.answers import Answers
from fallkeeper.plugin.importing.columns_as_shapes import LONGITUDE_LATITUDE, with_shapes
from fallkeeper.plugin.units import METRIC, Units
from import_sources import asked, lines, plan_of, source_layer, taken, told

METRES = Units(METRIC)
SAID = {"length_unit": "m", "vertical_datum": "NAVD 88", "located_by": "machine_log", "role": "lateral"}


def table(said=None, **columns):
    """A table of points with its shapes, as the reader hands it over."""
    layer = source_layer("log", row_word="line", **columns)
    return with_shapes(layer, Answers(fields={"": said or {}}))


def log(count=101, y=0.0, grade=0.001, line="L1", step=1.0, **more):
    along = np.arange(count) * step
    return {"x": 500.0 + along, "y": np.full(count, y), "line": [line] * count, "invert": 200.0 + grade * along,
            **more}  # fmt: skip


def joined(*logs):
    return {name: np.concatenate([np.asarray(one[name]) for one in logs]).tolist() for name in logs[0]}


def test_a_log_becomes_a_thin_line_with_its_inverts():
    plan = plan_of(table(**log()), units=METRES, **SAID)
    assert (asked(plan), told(plan)) == ([], {})
    (row,) = taken(plan)
    assert row["wkt"] == "LINESTRING (500 0, 600 0)"
    assert (row["drain_id"], row["role"], row["located_by"]) == ("L1", "lateral", "machine_log")
    assert (row["invert_start"], row["invert_end"]) == (200.0, pytest.approx(200.1))
    assert row["invert_error"] == pytest.approx(0.03), "of a machine's log, by the limits"
    assert taken(plan, "shots") == []


def test_a_sag_in_the_log_is_kept_as_shots_within_the_error():
    columns = log()
    columns["invert"][50] -= 0.2
    plan = plan_of(table(**columns), units=METRES, **{**SAID, "height_error_m": 0.02})
    shots = taken(plan, "shots")
    assert {"POINT (550 0)": pytest.approx(199.85)}.items() <= {s["wkt"]: s["elevation"] for s in shots}.items()
    assert {s["drain_id"] for s in shots} == {"L1"}
    assert {s["of"] for s in shots} == {"invert"}
    assert {s["error"] for s in shots} == {0.02}
    kept = sorted([(500.0, 200.0), (600.0, 200.1)] + [(shapely.from_wkt(s["wkt"]).x, s["elevation"]) for s in shots])
    back = np.interp(columns["x"], *np.array(kept).T)
    assert np.abs(back - columns["invert"]).max() <= 0.02 + 1e-9


def test_what_logged_it_and_what_the_heights_are_of_is_asked():
    columns = log()
    columns["elev"] = columns.pop("invert")
    plan = plan_of(table(**columns), units=METRES, length_unit="m", vertical_datum="x", role="lateral")
    assert asked(plan) == ["HEIGHTS", "LOCATED_BY"]
    assert "invert_start" not in taken(plan)[0]
    top = plan_of(table(**columns), units=METRES, heights="pipe_top", **SAID)
    assert "invert_start" not in taken(top)[0]
    assert [(s["of"], s["wkt"]) for s in taken(top, "shots")] == [("pipe_top", "POINT (500 0)"), ("pipe_top",
                                                                                                  "POINT (600 0)")]


def test_depths_below_ground_stay_with_the_line():
    columns = log()
    del columns["invert"]
    columns["depth"] = [0.9] * 50 + [1.2] * 51
    (row,) = taken(plan_of(table(**columns), units=METRES, **SAID))
    assert (row["depth_start"], row["depth_end"]) == (0.9, 1.2)
    assert row["note"] == "Depths by distance from the first point (m): 0.0: 0.90, 49.0: 0.90, 50.0: 1.20, 100.0: 1.20."


def test_ground_and_depth_give_the_invert():
    columns = log()
    columns["ground"] = np.array(columns.pop("invert")) + 1.0
    columns["depth"] = [1.0] * 101
    plan = plan_of(table(**columns), units=METRES, **SAID)
    assert (taken(plan)[0]["invert_start"], taken(plan)[0]["invert_end"]) == (200.0, pytest.approx(200.1))
    assert {s["of"] for s in taken(plan, "shots")} == {"ground"}


def test_several_lines_a_gap_a_jump_and_repeated_points():
    two = joined(log(line="A"), log(line="B", y=15.0))
    two["x"][150:] = [x + 40 for x in two["x"][150:]]
    two["y"][7] = 900.0
    two["x"][20] = two["x"][19]
    plan = plan_of(table(**two), units=METRES, **SAID)
    assert [row["drain_id"] for row in taken(plan)] == ["A", "B", "B (2)"]
    assert told(plan) == {"jump": [8], "repeated-point": [21], "key-twice": [151]}
    bridged = plan_of(table(**two), units=METRES, gap_distance_m=50.0, **SAID)
    assert [row["drain_id"] for row in taken(bridged)] == ["A", "B"]


def test_the_last_pass_is_taken_and_the_earlier_one_doubtful():
    passes = joined(log(), log(y=0.2, grade=0.002))
    passes["pass"] = [1] * 101 + [2] * 101
    plan = plan_of(table(**passes), units=METRES, **SAID)
    rows = {row["drain_id"]: row for row in taken(plan)}
    assert told(plan)["earlier-pass"] == [1]
    assert [r["doubtful"] for r in rows.values()].count(True) == 1
    assert rows["L1"]["invert_end"] == pytest.approx(200.2), "the key goes to the pass that counts"
    assert rows["L1 (2)"]["doubtful"]


def test_what_changes_along_a_line_and_what_nobody_asked_for():
    columns = log(size=["4 in"] * 50 + ["6 in"] * 51, speed=np.linspace(1, 3, 101).tolist(), crew=["K"] * 101)
    plan = plan_of(table(**columns), units=METRES, **SAID)
    (row,) = taken(plan)
    assert (row["diameter"], row["doubtful"]) == (pytest.approx(101.6), True)
    assert told(plan) == {"changes-along": [1]}
    assert row["note"] == 'From the file: {"speed": "1 to 3", "crew": "K"}'


def test_a_line_that_turns_back_is_doubtful():
    x = [*range(0, 50), *range(48, 20, -1)]
    columns = {"x": x, "y": [0.0] * 40 + [0.5] * (len(x) - 40), "line": ["L"] * len(x), "order": list(range(len(x)))}
    plan = plan_of(table(**columns), units=METRES, **SAID)
    assert told(plan) == {"turns-back": [1]}


def test_structures_are_told_by_their_kind():
    layer = source_layer(
        "marks", shapes=["POINT(0 0)", "POINT(5 5)", "POINT(6 6)", None],
        Type=["Outlet", "tile inlet", "tree", "Outlet"], Inv=[700.0, None, None, None],
    )
    plan = plan_of(layer, length_unit="ft", vertical_datum="x")
    assert [(r["kind"], r["wkt"], r.get("invert")) for r in taken(plan, "structures")] == [
        ("outlet", "POINT (0 0)", 700.0), ("surface_inlet", "POINT (5 5)", None)]
    assert told(plan) == {"unknown-point": [3], "no-place": [4]}


def test_level_shots_are_told_by_what_they_are_of():
    layer = source_layer("topo", shapes=["POINT Z(0 0 9)", "POINT Z(5 5 8)", "POINT Z(6 6 0)"], code=["inv", "ground",
                                                                                                      "inv"])
    plan = plan_of(layer, length_unit="ft", vertical_datum="x")
    assert [(r["of"], r["elevation"]) for r in taken(plan, "shots")] == [("invert", 9.0), ("ground", 8.0)]
    assert told(plan) == {"no-level": [3]}


def test_points_nobody_knows_are_asked_about():
    layer = source_layer("spots", shapes=["POINT(0 0)", "POINT(9 0)", "POINT(18 0)"], colour=["red", "red", "blue"])
    plan = plan_of(layer)
    assert (asked(plan), told(plan)) == (["POINTS"], {"unknown-point": [1, 2, 3]})
    as_line = plan_of(layer, points="lines", role="main", located_by="rtk", gap_distance_m=5.0)
    assert taken(as_line)[0]["wkt"] == "LINESTRING (0 0, 18 0)"


def test_a_drawing_with_lines_texts_and_marks():
    layer = source_layer(
        "entities", shapes=[*lines([(0, 0), (100, 0)], [(0, 50), (100, 50)]), "POINT(50 2)", "POINT(900 900)",
                            "POINT(0 0)"],
        Layer=["TILE MAIN", "LAT", "TEXT", "TEXT", "STUFF"], Text=[None, None, '6" CPT', "North", None],
        EntityHandle=["1", "2", "3", "4", "5"],
    )  # fmt: skip
    plan = plan_of(layer)
    assert [row["role"] for row in taken(plan)] == ["main", "lateral"]
    assert "Text beside it: '6\" CPT'." in taken(plan)[0]["note"]
    assert told(plan) == {"text-alone": [4], "unknown-point": [5]}
    assert plan.texts_kept == 1


def test_lines_by_their_two_ends_and_shapes_as_text():
    ends = table(ID=["a", "b"], x1=[0, 1], y1=[0, 1], x2=[9, None], y2=[9, 9])
    assert [None if s is None else s.wkt for s in ends.shapes] == ["LINESTRING (0 0, 9 9)", None]
    assert {name: held.tolist() for name, held in ends.values.items()} == {
        "ID": ["a", "b"], "x1": [None, 1], "y1": [None, 1], "x2": [None, pytest.approx(np.nan, nan_ok=True)],
        "y2": [None, 9]}
    signs = table(x1=["2,104,000.5"], y1=["802,050"], x2=["2,104,000"], y2=["802,150"])
    assert shapely.get_coordinates(signs.shapes).tolist() == [[2104000.5, 802050], [2104000, 802150]]
    more = table(x1=["1 2 3", "1"], y1=["0", "0"], x2=["9", "9 9"], y2=["9", "9"])
    assert shapely.is_missing(more.shapes).all(), "more than a figure is no coordinate"
    assert list(table(ID=["a"], x1=[0], y1=[0], x2=[9], y2=[9]).values) == ["ID"]
    written = table(ID=["a", "b"], wkt=["SRID=3734;LINESTRING(0 0,1 1)", "nonsense"])
    assert [None if s is None else s.wkt for s in written.shapes] == ["LINESTRING (0 0, 1 1)", None]


def test_longitude_and_latitude_are_known_by_name_and_size():
    degrees = table(lat=[41.0, 41.1], lon=["-82,5", "-82,6"])
    assert (degrees.crs, degrees.shapes[0].wkt) == (LONGITUDE_LATITUDE, "POINT (-82.5 41)")
    assert table(lat=[800000.0, 800001.0], lon=[2100000.0, 2100001.0]).crs == ""
    assert table(E=[1.0], N=[2.0]).crs == ""
    assert table(a=[1.0], b=[2.0]).shapes[0] is None
    assert table({"x": "a", "y": "b"}, a=[1.0], b=[2.0]).shapes[0].wkt == "POINT (1 2)"


def test_a_row_of_a_log_without_place_is_told():
    columns = log()
    columns["x"] = columns["x"].tolist()
    columns["x"][3] = None
    plan = plan_of(table(**columns), units=METRES, **SAID)
    assert told(plan) == {"no-place": [4]}
    assert len(taken(plan)) == 1
