"""Which rows of a table are as they were, and a table after edits somebody tells of."""

import builders as b
import numpy as np
import pytest
import shapely
from fallkeeper.plugin.network.kept_rows import edited, kept_rows

ROWS = [b.lateral(f"L{k}", (0, 10 * k), (100, 10 * k), invert_start=95.0 + k) for k in range(5)]


def kept(before, now):
    """Row now by row before, and the rows that are new or changed."""
    found = kept_rows(b.drains(*before), b.drains(*now), "drain_id")
    return found.now.tolist(), found.changed.tolist()


def test_equal_tables_are_kept_though_no_object_is_the_same():
    again = [{**row, "geometry": shapely.from_wkb(row["geometry"].wkb)} for row in ROWS]
    assert kept(ROWS, again) == ([0, 1, 2, 3, 4], [])


def test_rows_that_come_go_and_change():
    changed = {**ROWS[3], "invert_start": 96.0}
    now = [ROWS[0], b.lateral("N", (0, 5), (9, 5)), ROWS[2], changed, ROWS[4]]
    assert kept(ROWS, now) == ([0, -1, 2, -1, 4], [1, 3])
    assert kept(ROWS, ROWS[2:]) == ([-1, -1, 0, 1, 2], [])
    assert kept([], ROWS[:1]) == ([], [0])
    assert kept(ROWS[:1], []) == ([-1], [])


@pytest.mark.parametrize("drawn", [
    shapely.LineString([(0, 0, 95.0), (100, 0, 95.0)]), None,
    shapely.MultiLineString([[(0, 0), (100, 0)]]), shapely.LineString([(100, 0), (0, 0)]),
    shapely.LineString([(0, 0), (50, 0), (100, 0)]),
])
def test_every_difference_of_a_drawing_counts(drawn):
    assert kept(ROWS, [{**ROWS[0], "geometry": drawn}, *ROWS[1:]]) == ([-1, 1, 2, 3, 4], [0])


def test_heights_of_a_drawing_count():
    deep = [{**ROWS[0], "geometry": shapely.LineString([(0, 0, z), (100, 0, 95.0)])} for z in (95.0, 95.1)]
    assert kept(deep[:1], deep[1:]) == ([-1], [0])
    assert kept(deep[:1], deep[:1]) == ([0], [])


def test_no_geometry_and_unknown_figures_equal_themselves():
    bare = [{**ROWS[0], "geometry": None, "invert_start": None}]
    assert kept([*bare, ROWS[1]], [*bare, ROWS[1]]) == ([0, 1], [])


def test_rows_of_one_key_stand_for_each_other_in_their_order():
    twice = [{**ROWS[0], "drain_id": "L1"}, ROWS[1], ROWS[2]]
    assert kept(twice, twice[1:]) == ([-1, -1, 1], [0])  # the first L1 now is not the first L1 before


def test_of_rows_in_another_order_few_count_as_changed():
    assert kept(ROWS, [*ROWS[1:], ROWS[0]]) == ([-1, 0, 1, 2, 3], [4])
    assert kept(ROWS, [ROWS[4], *ROWS[:4]]) == ([1, 2, 3, 4, -1], [0])


def test_a_table_after_edits():
    table = b.drains(*ROWS)
    longer = {**ROWS[1], "geometry": shapely.LineString([(0, 10), (200, 10)])}
    new = b.lateral("N", (0, 5), (9, 5))
    now = edited(table, "drain_id", b.drains(new, longer), {"L4"})
    expected = b.drains(ROWS[0], longer, ROWS[2], ROWS[3], new)
    assert now.drain_id.tolist() == expected.drain_id.tolist() == ["L0", "L1", "L2", "L3", "N"]
    assert shapely.equals_exact(now.geometry, expected.geometry).all()
    np.testing.assert_array_equal(now.invert_start_m, expected.invert_start_m)
    assert table.drain_id.tolist() == [f"L{k}" for k in range(5)], "the table before stays"


@pytest.mark.parametrize(("rows", "given"), [([*ROWS, ROWS[1]], [ROWS[1]]), (ROWS, [ROWS[1], ROWS[1]])])
def test_a_key_used_twice_does_not_tell_which_row_was_edited(rows, given):
    with pytest.raises(ValueError, match="key"):
        edited(b.drains(*rows), "drain_id", b.drains(*given))
