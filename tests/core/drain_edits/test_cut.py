"""A line cut in parts: interpolated and said to be assumed, never surer than before; unknown stays unknown."""

import datetime

import builders as b
import numpy as np
import pytest
import shapely
from cases import case_of
from fallkeeper.plugin.drain_edits.cut import (
    CutError,
    Known,
    Scale,
    check_stations,
    cut,
    known_by_shots,
    known_by_vertices,
)
from fallkeeper.plugin.drain_edits.drawn import Drawn
from fallkeeper.plugin.limits import Limits
from hypothesis import given, settings
from hypothesis import strategies as st

DAY = datetime.date(2026, 5, 10)
FEET = Scale(1.0, b.FT, b.IN)
LIMITS = Limits()


def drawn(**row):
    columns = {"drain_id": "A", "name": "west", "invert_start": 100.0, "invert_end": 99.8, "invert_error": None,
               "depth_start": 3.0, "depth_end": 4.0, "located_by": "level", "note": None, "position_error": 0.7,
               "layout_id": "plan", "diameter": 4.0, **row}
    return Drawn(((0.0, 0.0), (120.0, 0.0), (200.0, 0.0)), columns)


def parts(line, *stations, known=(), scale=FEET):
    keys = ["A", *(f"A.{k}" for k in range(2, len(stations) + 2))]
    return cut(line, stations, keys, DAY, known, scale, LIMITS)


def ends(part, figure="invert"):
    return part.row[f"{figure}_start"], part.row[f"{figure}_end"]


def test_two_halves_with_the_figure_between():
    first, second = parts(drawn(), 50.0)
    assert ends(first) == (100.0, pytest.approx(99.95)) and ends(second) == (first.row["invert_end"], 99.8)
    assert ends(first, "depth") == (3.0, 3.25) and ends(second, "depth") == (3.25, 4.0)
    assert first.places == ((0.0, 0.0), (50.0, 0.0))
    assert second.places == ((50.0, 0.0), (120.0, 0.0), (200.0, 0.0))
    assert (first.row["drain_id"], second.row["drain_id"]) == ("A", "A.2")
    same = ("name", "position_error", "layout_id", "diameter", "located_by", "invert_error")
    assert [second.row[c] for c in same] == [drawn().row[c] for c in same]
    assert first.row["note"] == (
        "Cut on 2026-05-10; assumed, since not measured but interpolated at the cut: invert_end, depth_end.")
    assert second.row["note"] == (
        "Cut from A on 2026-05-10; assumed, since not measured but interpolated at the cut: invert_start, depth_start.")


def test_a_note_that_was_there_stays():
    assert parts(drawn(note="seen by Ada"), 50.0)[0].row["note"].startswith("seen by Ada\nCut on ")


def test_unknown_stays_unknown():
    first, second = parts(drawn(invert_end=None, depth_start=None), 50.0)
    assert ends(first) == (100.0, None) and ends(second) == (None, None)
    assert ends(first, "depth") == (None, None) and ends(second, "depth") == (None, 4.0)
    assert first.row["note"] == "Cut on 2026-05-10."


def test_three_parts():
    found = parts(drawn(), 50.0, 100.0)
    assert [ends(part) for part in found] == [
        (100.0, pytest.approx(99.95)), (pytest.approx(99.95), pytest.approx(99.9)), (pytest.approx(99.9), 99.8)]
    assert "invert_start, invert_end, depth_start, depth_end" in found[1].row["note"]


def test_a_shot_between_counts_and_its_error_too():
    low = Known(100.0, 100.5, 0.5)
    first, second = parts(drawn(invert_error=0.02), 50.0, known=[low])
    assert ends(first) == (100.0, pytest.approx(100.25))
    assert first.row["invert_error"] == second.row["invert_error"] == pytest.approx(0.26)
    sure = parts(drawn(invert_error=0.02), 50.0, known=[Known(100.0, 100.5, 0.005)])
    assert sure[0].row["invert_error"] == 0.02


def test_one_end_and_a_shot_are_enough_between_them_only():
    line, known = drawn(invert_end=None), [Known(100.0, 99.0, 0.005)]
    assert ends(parts(line, 50.0, known=known)[0]) == (100.0, 99.5)
    assert ends(parts(line, 150.0, known=known)[0]) == (100.0, None)


def test_what_shots_and_elevations_tell():
    shots = [({"of": "invert", "elevation": 99.0, "error": None}, (50.0, 3.0)),
             ({"of": "pipe_top", "elevation": 99.36, "error": 0.1}, (80.0, 0.0)),
             ({"of": "ground", "elevation": 105.0, "error": None}, (90.0, 0.0))]
    low, top = known_by_shots(drawn(), shots, FEET, LIMITS)
    assert (low.station, low.invert, low.error) == (50.0, 99.0, pytest.approx(0.005 / b.FT))
    assert (top.station, top.invert, top.error) == (80.0, pytest.approx(99.0), 0.1)
    assert len(known_by_shots(drawn(diameter=None), shots, FEET, LIMITS)) == 1
    levels = Drawn(((0.0, 0.0, 100.0), (60.0, 0.0, 0.0), (100.0, 0.0, 98.0)), drawn().row)
    found = known_by_vertices(levels, FEET, LIMITS)
    assert [(one.station, one.invert) for one in found] == [(0.0, 100.0), (100.0, 98.0)]
    assert known_by_vertices(Drawn(levels.places, drawn(located_by="tape").row), FEET, LIMITS) == []
    assert parts(levels, 30.0)[0].places[-1] == (30.0, 0.0, 50.0)


@pytest.mark.parametrize("station", [0.0, 0.01, 199.99, 200.0, 260.0, -3.0, float("nan")])
def test_no_cut_at_an_end(station):
    with pytest.raises(CutError, match="lies at an end of the pipe"):
        check_stations(drawn(), [station], 0.0328)


def test_a_cut_inside_is_fine():
    check_stations(drawn(), [0.04, 120.0], 0.0328)


level = st.floats(95.0, 105.0)


@settings(max_examples=60, deadline=None)
@given(level, level, st.lists(st.tuples(st.integers(1, 39), level, st.floats(0.001, 0.5)), max_size=3),
       st.integers(1, 39), st.sampled_from([None, 0.01, 0.3]))
def test_no_call_becomes_surer(start, end, measured, share, error):
    """At every place of the pipe; and the fall over the halves is that over the whole."""
    line = drawn(invert_start=start, invert_end=end, invert_error=error)
    shots = [b.shot(f"S{k}", 5.0 * at, 0.0, z, error=e, drain_id="A") for k, (at, z, e) in
             enumerate({at: (at, z, e) for at, z, e in measured}.values())]
    station = 5.0 * share + 2.5
    known = known_by_shots(line, [({**one, "error": one["error"]}, (one["geometry"].x, 0.0)) for one in shots], FEET,
                           LIMITS)
    halves = parts(line, station, known=known)
    fall = sum(one.row["invert_start"] - one.row["invert_end"] for one in halves)
    assert fall == pytest.approx(start - end, abs=1e-9)
    for shot in shots:
        shot["drain_id"] = "A" if shot["geometry"].x <= station else "A.2"
    at = np.array([k + 0.123 for k in range(200) if all(abs(k - 5 * m[0]) > 2 for m in measured)])
    before = chance_at([line], [{**shot, "drain_id": "A"} for shot in shots], at)
    after = chance_at(halves, shots, at)
    assert (np.abs(after - 0.5) <= np.abs(before - 0.5) + 1e-6).all()


def chance_at(lines, shots, at):
    """P(reverse) at places of the pipe, by distance from its start, which is the outlet."""
    rows = [{**one.row, "role": "main", "geometry": shapely.LineString(one.places)} for one in lines]
    county = case_of(*rows, outlets=[b.outlet(0, 0)], shots=shots).county
    grades, network_lines = county.grades, county.network.lines
    first = network_lines.xy[network_lines.first[:-1], 0]
    low, high = (first[grades.line] + along for along in (grades.from_m, grades.to_m))
    x = at[:, None] * b.FT
    inside = (low <= x) & (x <= high)
    assert (inside.sum(axis=1) == 1).all()
    return grades.p_reverse[inside.argmax(axis=1)]
