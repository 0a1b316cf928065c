"""loop. Known answer: three pipes in a ring without an outlet (A04)."""

import builders as b
import networks
from cases import case_of, found

SPLIT_OUTLETS = (b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2"))


def test_a_tree_has_no_ring():
    assert found(case_of(*networks.a01_rows(), outlets=(b.outlet(0, 0),)), "loop") == []


def test_a_ring_is_a_row_a_drain_that_names_them_all():
    rows = found(case_of(*networks.a04_rows(), outlets=SPLIT_OUTLETS), "loop")
    assert [row.drain_id for row in rows] == ["AB", "BC", "CA"]
    assert {row.detail for row in rows} == {"ring of AB, BC, CA"}
    assert {row.call for row in rows} == {"found"}


def test_a_ring_drawn_as_one_pipe_cut_by_laterals_is_one_row():
    ring = b.pipe("R", (0, 0), (100, 0), (100, 100), (0, 100), (0, 0))
    laterals = [b.lateral(f"L{y}", (200, y), (100, y)) for y in (20, 40, 60)]
    rows = found(case_of(ring, *laterals), "loop")
    assert [(row.drain_id, row.at) for row in rows] == [("R", (0, 400))]


def test_a_large_ring_names_some_and_counts_the_rest():
    corners = [(x, 0) for x in range(0, 200, 10)] + [(x, 50) for x in range(200, 0, -10)]
    ring = [b.pipe(f"P{k:02d}", one, other) for k, (one, other) in enumerate(zip(corners, corners[1:] + corners[:1]))]
    assert found(case_of(*ring), "loop")[0].detail.endswith("P11 and 28 more")


def test_inverts_do_not_take_the_ring_away():
    levels = {"invert_start": 95.0, "invert_end": 95.2}
    rows = [dict(row, **levels) if row["drain_id"] == "AB" else row for row in networks.a04_rows()]
    assert len(found(case_of(*rows, outlets=SPLIT_OUTLETS), "loop")) == 3
