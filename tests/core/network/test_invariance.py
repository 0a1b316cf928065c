"""What changes no answer: the order of the rows, the way lines are drawn, and where the county lies."""

import builders as b
import networks
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from networks import answer, build, reversed_row

FAR_FT = (2_000_000.0, 800_000.0)

CASES = {
    "a01": (networks.a01_rows(), [b.outlet(0, 0)]),
    "a01 without outlet": (networks.a01_rows(), []),
    "a03": (networks.a03_rows(), [b.outlet(0, 0)]),
    "a04": (networks.a04_rows(), [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")]),
    "a15": (networks.a15_rows(), [b.outlet(0, 0)]),
    "two outlets": (
        [b.main("M", (0, 0), (0, 300)), b.lateral("L1", (0, 100), (100, 100)), b.lateral("L2", (0, 250), (100, 250))],
        [b.outlet(0, 0, "O1"), b.outlet(0, 300, "O2")],
    ),
    "past the outlet": ([b.main("M", (0, -20), (0, 300)), b.lateral("L", (0, 100), (90, 100))], [b.outlet(0, 0)]),
    "overshoots": (
        [b.main("M1", (0, 0), (0, 100)), b.main("M2", (0, 103), (0, 300)), b.lateral("L", (80, 50), (-2, 52)),
         b.lateral("K", (80, 150), (-3, 130)), b.lateral("X", (60, 200), (-60, 210))],
        [b.outlet(0, 0)],
    ),
}


def answer_of(rows, outlets, accept, origin_ft=(0.0, 0.0)):
    network = build(rows, outlets, tolerance_m=networks.FIVE_FT, accept_proposed=accept)
    return answer(network, origin_ft)


def moved(row):
    return dict(row, geometry=shapely.transform(row["geometry"], lambda xy: xy + FAR_FT))


@pytest.mark.parametrize("accept", [False, True])
@pytest.mark.parametrize("case", CASES)
@settings(deadline=None, max_examples=15)
@given(data=st.data())
def test_order_and_drawing_change_no_answer(case, accept, data):
    rows, outlets = CASES[case]
    expected = answer_of(rows, outlets, accept)
    turned = data.draw(st.sets(st.sampled_from(range(len(rows)))))
    drawn = [reversed_row(row) if k in turned else row for k, row in enumerate(rows)]
    drawn = [drawn[k] for k in data.draw(st.permutations(range(len(rows))))]
    assert answer_of(drawn, data.draw(st.permutations(outlets)), accept) == expected


@pytest.mark.parametrize("accept", [False, True])
@pytest.mark.parametrize("case", CASES)
def test_where_the_county_lies_changes_no_answer(case, accept):
    rows, outlets = CASES[case]
    there = answer_of([moved(row) for row in rows], [moved(row) for row in outlets], accept, FAR_FT)
    assert there == answer_of(rows, outlets, accept)


places = st.tuples(st.integers(-6, 6), st.integers(-6, 6)).map(lambda xy: (20.0 * xy[0], 20.0 * xy[1]))
lines = st.lists(st.lists(places, min_size=2, max_size=4).filter(lambda p: len(set(p)) > 1), min_size=1, max_size=8)


@settings(deadline=None, max_examples=60)
@given(lines, st.data())
def test_in_any_scribble_turning_lines_round_changes_no_flow(drawn, data):
    """Lines on a grid meet, cross and lie on each other in every way; the order of rows stays, since it may decide
    which of two equal drawings stays."""
    rows = [b.lateral(f"P{k}", *points) for k, points in enumerate(drawn)]
    rows = [row for row in rows if row["geometry"].is_simple]  # a place a line passes twice is no one place
    outlets = [b.outlet(*drawn[0][0])]
    assume(rows)
    turned = data.draw(st.sets(st.sampled_from(range(len(rows)))))
    again = [reversed_row(row) if k in turned else row for k, row in enumerate(rows)]
    first, second = answer_of(rows, outlets, False), answer_of(again, outlets, False)
    assert first["pieces"] == second["pieces"]
    assert first["outlets"] == second["outlets"]
    assert first["without outlet"] == second["without outlet"]
