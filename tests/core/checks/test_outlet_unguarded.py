"""outlet-unguarded: guard, and rigid solid pipe at the end."""

import builders as b
import numpy as np
from cases import case_of, found, of_drains

SOLID = {"openings": "none", "material": "smooth_plastic"}


def outlet_with(guard="true", length=20, diameter=12.0, **fields):
    end = b.pipe("End", (0, 0), (0, length), role="outlet_pipe", diameter=diameter, **{**SOLID, **fields})
    return case_of(end, b.main("M", (0, length), (0, 300), diameter=diameter), outlets=(b.outlet(0, 0, guard=guard),))


def test_a_guarded_rigid_end_is_clean():
    case = outlet_with()
    assert found(case, "outlet-unguarded") == [] and of_drains(case, "outlet-unguarded", "guard") == set()


def test_a_missing_guard_is_found():
    for word in ("false", "False", "0"):
        (row,) = found(outlet_with(guard=word), "outlet-unguarded")
        assert (row.detail, row.call, row.drain_id) == ("no animal guard", "found", "End") and np.isnan(row.value)


def test_a_short_or_flexible_end_is_found_with_the_length_it_needs():
    (row,) = found(outlet_with(length=10), "outlet-unguarded")
    assert (row.value, row.limit, row.unit) == (10.0, 12.0, "ft")  # 12 in pipe: NRCS NEH Part 650 ch. 14 (from memory)
    (row,) = found(outlet_with(material="corrugated_plastic"), "outlet-unguarded")
    assert row.value == 0.0 and row.detail == "end is not rigid solid pipe" and row.severity == "doubt"


def test_larger_pipe_needs_a_longer_end():
    short = {size: outlet_with(length=1, diameter=size) for size in (6, 12, 15, 24)}
    needed = {size: found(case, "outlet-unguarded")[0].limit for size, case in short.items()}
    assert needed == {6: 10.0, 12: 12.0, 15: 16.0, 24: 20.0}


def test_an_end_nobody_described_cannot_be_told():
    (row,) = found(outlet_with(openings=None), "outlet-unguarded")
    assert (row.call, row.severity) == ("cannot_tell", "note") and np.isnan(row.value)


def test_a_guard_nobody_recorded_is_not_checked():
    assert of_drains(outlet_with(guard=None), "outlet-unguarded", "animal guard") == {"End"}
