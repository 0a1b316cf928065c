"""Drawn shapes become single lines; what cannot is told, and nothing of the rest is lost."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.importing.drawn_lines import draw_lines
from fallkeeper.plugin.importing.issues import Issues
from hypothesis import given
from hypothesis import strategies as st
from import_sources import source_layer


def drawn(*shapes):
    issues = Issues()
    layer = source_layer(shapes=shapes)
    made = draw_lines(layer, np.arange(len(layer)), issues)
    return made, {issue.kind.id: issue.number.tolist() for issue in issues.found}


def test_plain_lines_stay_as_they_are():
    made, told = drawn("LINESTRING(0 0, 1 1, 2 1)", "LINESTRING(5 5, 6 6)")
    assert [shape.wkt for shape in made.shapes] == ["LINESTRING (0 0, 1 1, 2 1)", "LINESTRING (5 5, 6 6)"]
    assert (made.row.tolist(), made.part.tolist(), told) == ([0, 1], [1, 1], {})
    assert made.along == pytest.approx([0, 2**0.5, 2**0.5 + 1, 0, 2**0.5])


def test_parts_that_follow_one_another_become_one_line():
    made, told = drawn("MULTILINESTRING((0 0, 1 0), (1 0, 2 0, 3 0))", "LINESTRING(9 9, 8 8)")
    assert [shape.wkt for shape in made.shapes] == ["LINESTRING (0 0, 1 0, 2 0, 3 0)", "LINESTRING (9 9, 8 8)"]
    assert made.along.tolist()[:4] == [0, 1, 2, 3]
    assert told == {"parts-joined": [1]}


def test_parts_apart_become_drains_of_their_own():
    made, told = drawn("LINESTRING(9 9, 8 8)", "MULTILINESTRING((0 0, 1 0), (5 0, 6 0))")
    assert (made.row.tolist(), made.part.tolist(), made.parts.tolist()) == ([0, 1, 1], [1, 1, 2], [1, 2, 2])
    assert told == {"several-parts": [2]}


def test_a_part_of_one_vertex_is_no_multiline_of_several():
    made, told = drawn("MULTILINESTRING((0 0, 1 0))")
    assert (len(made), told) == (1, {})


def test_heights_are_kept_apart_and_zero_is_none():
    made, _ = drawn("LINESTRING Z(0 0 7, 1 1 0, 2 2 9)")
    assert not made.shapes[0].has_z
    np.testing.assert_array_equal(made.z, [7, np.nan, 9])


@pytest.mark.parametrize(
    ("shape", "kind"),
    [(None, "no-place"), ("LINESTRING EMPTY", "no-place"), ("POLYGON((0 0,1 0,1 1,0 0))", "no-line"), ("POINT(1 1)",
                                                                                                       "no-line"),
     ("LINESTRING(3 3, 3 3)", "bad-line"), ("GEOMETRYCOLLECTION(POINT(1 1))", "no-line")],
)  # fmt: skip
def test_what_is_no_line_is_told(shape, kind):
    made, told = drawn("LINESTRING(0 0, 1 1)", shape)
    assert (made.row.tolist(), told) == ([0], {kind: [2]})


def test_a_coordinate_that_is_no_number():
    with np.errstate(invalid="ignore"):
        bad = shapely.linestrings([[0, 0], [np.nan, 1], [2, 2]])
    assert drawn(bad)[1] == {"bad-line": [1]}


def test_lines_in_a_collection_are_taken():
    made, told = drawn("GEOMETRYCOLLECTION(POINT(1 1), LINESTRING(0 0, 1 0), LINESTRING(4 0, 5 0))")
    assert (len(made), told) == (2, {"part-left": [1], "several-parts": [1]})


coordinate = st.integers(-50, 50)
run = st.lists(st.tuples(coordinate, coordinate), min_size=2, max_size=6)


@given(st.lists(st.lists(run, min_size=1, max_size=4), max_size=6))
def test_no_length_is_lost_or_won(rows):
    shapes = [shapely.MultiLineString(parts) if len(parts) > 1 else shapely.LineString(parts[0]) for parts in rows]
    if not shapes:
        return
    made, _ = drawn(*shapes)
    length = np.bincount(made.row, weights=shapely.length(made.shapes),
                         minlength=len(rows)) if len(made) else np.zeros(len(rows))
    np.testing.assert_allclose(length, shapely.length(np.array(shapes, dtype=object)), atol=1e-9)
    ends = made.first[1:] - 1
    np.testing.assert_allclose(made.along[ends] if len(made) else [], shapely.length(made.shapes), atol=1e-9)
