"""What is written down from the map, and what follows from a depth that was measured: without any window."""

import math
from datetime import datetime

import pytest
from fallkeeper.plugin.answers.depth import measured, said_depth, said_understood
from fallkeeper.plugin.answers.write_down import (
    BY_NAME,
    CHOICES,
    chosen_call,
    last_used_first,
    new_row,
    next_step,
    open_calls,
    said_put,
)
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.schema import layer as schema_layer
from fallkeeper.plugin.schema.values import VALUE_LISTS
from fallkeeper.plugin.units import FOOT_M, INCH_M, METRIC, US, Units

NOW = datetime(2025, 3, 20, 10, 30, 15, 999)
NAN = math.nan
CALLS = [
    (1, {"call_id": "C-1", "received_on": "2025-03-18T08:10:00", "caller": "Tarrowick Farm", "about": "wet",
         "status": "open"}),
    (2, {"call_id": "C-2", "received_on": "2025-03-19T17:30:00", "caller": None, "about": None, "status": "dug"}),
    (3, {"call_id": "C-3", "received_on": None, "caller": "Ebbing Kiln Farm", "about": "hole", "status": None}),
    (4, {"call_id": "C-4", "received_on": "2025-03-25T11:00:00", "caller": None, "about": None, "status": "closed"}),
]


def test_every_kind_of_reading_a_call_and_a_repair_can_be_chosen():
    assert {c.name for c in CHOICES} == {"call", "repair", *VALUE_LISTS["reading_kind"]}
    assert len({c.words for c in CHOICES}) == len(CHOICES)


def test_last_used_stands_first_and_nothing_is_lost():
    order = [c.name for c in last_used_first(["boil", "repair", "boil", "gone"])]
    assert order[:3] == ["boil", "repair", "call"] and sorted(order) == sorted(BY_NAME)


@pytest.mark.parametrize("choice", CHOICES, ids=lambda c: c.name)
def test_rows_name_fields_and_values_of_the_archive(choice):
    row = new_row(choice, NOW, "Crew", "C-1", "A", 3.5)
    declared = schema_layer(choice.layer)
    for name, value in row.items():
        field = declared.field(name)
        assert not field.choices or value in field.choices
    assert not declared.key or declared.key.name not in row, "keys are made by the layer"


def test_what_is_unknown_stays_unknown():
    assert new_row(BY_NAME["repair"], NOW, "", None, None) == {
        "done_on": "2025-03-20", "drain_id": None, "call_id": None}
    row = new_row(BY_NAME["wet_ground"], NOW, "", None, "A", 3.5)
    assert row["observer"] is None and row["call_id"] is None and row["depth"] is None, "wet ground has no depth"
    assert new_row(BY_NAME["probe_hit"], NOW, "Crew", "C-1", None, 3.5)["depth"] == 3.5


def test_open_calls_are_those_not_closed_the_newest_first():
    calls = open_calls(CALLS)
    assert [(c.call_id, c.status) for c in calls] == [("C-2", "dug"), ("C-1", "open"), ("C-3", "open")]
    assert calls[1].words == "2025-03-18, Tarrowick Farm: wet"
    assert calls[0].words == "2025-03-19, caller unknown: C-2" and calls[2].words.startswith("no date, ")


def test_one_open_call_is_chosen_by_itself_of_several_none():
    calls = open_calls(CALLS)
    assert chosen_call(calls, None) is None and chosen_call([], "C-1") is None
    assert chosen_call(calls, "C-1").call_id == "C-1"
    assert chosen_call(calls[:1], None) is calls[0] and chosen_call(calls[:1], "gone") is calls[0]


def test_a_call_goes_from_open_to_dug_to_closed():
    dug, opened = open_calls(CALLS)[:2]
    assert next_step(opened, NOW, None) == {"status": "dug"}
    assert next_step(dug, NOW, None) == {"status": "closed", "done_on": "2025-03-20"}
    assert next_step(dug, NOW, "2025-03-19") == {"status": "closed"}, "a day that stands there stays"


def test_the_sentence_says_where_to_which_call_and_what_is_open():
    call = open_calls(CALLS)[1]
    said = said_put(BY_NAME["dry_hole"], "on Main A (A), 7+00 from the outlet", call, "Readings", ["Repairs"], 3)
    assert said == (
        "Dry hole: on Main A (A), 7+00 from the outlet. It belongs to the call 2025-03-18, Tarrowick Farm: wet. Not "
        "saved yet: save the layer 'Readings', or undo. Edits not saved elsewhere too: Repairs. 3 calls are open.")
    said = said_put(BY_NAME["repair"], "", None, "Repairs", [], 0)
    assert "No pipe was within reach" in said and "no call: none is open" in said
    assert "none is chosen" in said_put(BY_NAME["boil"], "", None, "Readings", [], 2)
    assert "belongs" not in said_put(BY_NAME["call"], "", None, "Calls", [], 1)


def test_the_invert_lies_below_the_top_by_the_size_and_a_wall():
    limits = Limits()
    found = measured(40 * INCH_M, 4 * INCH_M, 700 * FOOT_M, limits)
    assert found.wall_m == pytest.approx(0.32 * INCH_M) and found.wall_assumed
    assert found.invert_depth_m == pytest.approx(44.32 * INCH_M)
    assert found.invert_m == pytest.approx(700 * FOOT_M - 44.32 * INCH_M)
    assert found.elevation_error_m == pytest.approx(math.hypot(0.10, 0.10))
    known = measured(40 * INCH_M, 4 * INCH_M, NAN, limits, 0.5 * INCH_M)
    assert known.invert_depth_m == pytest.approx(44.5 * INCH_M) and not known.wall_assumed
    assert math.isnan(known.invert_m)


def test_the_words_say_what_is_assumed_and_what_is_not_known():
    limits, units = Limits(), Units(US)
    said = said_depth(measured(40 * INCH_M, 4 * INCH_M, 700 * FOOT_M, limits), units, "Ground")
    assert said[0] == ("The top of the pipe is 3.33 ft below ground; its invert 3.69 ft, with 4 in inside and 0.32 in "
                       "of wall, assumed.")
    assert said[1] == ("By the ground of 'Ground' (700.00 ft) the invert is at 696.31 ft, \u00b1 0.46 ft (one standard "
                       "error).")
    said = said_depth(measured(1.0, NAN, 210.0, limits), Units(METRIC), "Ground")
    assert "left open: the size of the pipe is unknown" in said[0]
    assert "top of the pipe is at 209.00 m" in said[1], "the top needs no size"
    assert "unknown" in said_depth(measured(1.0, 0.1, NAN, limits), units, "")[1]


def test_a_depth_no_drain_has_is_asked_about():
    limits, units = Limits(), Units(US)
    assert said_understood(40 * INCH_M, units, limits) == "= 3.33 ft (3' 4\")"
    assert said_understood(1.016, Units(METRIC), limits) == "= 1.02 m"
    assert "is the unit right?" in said_understood(40 * FOOT_M, units, limits)
