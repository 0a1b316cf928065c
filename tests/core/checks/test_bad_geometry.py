"""bad-geometry: lines that could not be taken as they were drawn."""

import builders as b
import shapely
from cases import case_of, found, results_of

OUTLET = (b.outlet(0, 0),)
MAIN = b.main("M", (0, 0), (0, 300))


def drawn(geometry, drain_id="X", **fields):
    return {"drain_id": drain_id, "geometry": geometry, **fields}


def test_plain_lines_are_clean():
    assert found(case_of(MAIN, outlets=OUTLET), "bad-geometry") == []


def test_a_drain_without_a_line_or_a_length_is_left_out():
    case = case_of(MAIN, drawn(None, "no-line"), drawn(shapely.LineString([(5, 5), (5, 5)]), "point"), outlets=OUTLET)
    rows = {row.drain_id: row for row in found(case, "bad-geometry")}
    assert rows["no-line"].detail == "it has no geometry; left out"
    assert rows["point"].detail == "it has no length; left out"
    assert {(row.severity, row.at) for row in rows.values()} == {("serious", (None, None))}
    results_of(case)


def test_a_drain_in_parts_is_used_and_noted():
    parts = shapely.MultiLineString([[(100, 50), (50, 50)], [(50, 50), (0, 50)]])
    rows = found(case_of(MAIN, drawn(parts), outlets=OUTLET), "bad-geometry")
    assert {row.severity for row in rows} == {"note"} and [row.at for row in rows] == [(0, 50), (50, 100)]


def test_a_line_that_crosses_itself_is_a_doubt():
    knot = b.lateral("K", (100, 50), (200, 50), (150, 100), (150, 0))
    (row,) = found(case_of(MAIN, knot, outlets=OUTLET), "bad-geometry")
    assert (row.drain_id, row.severity, row.detail) == ("K", "doubt", "crosses itself; used as drawn")


def test_a_line_without_a_key_is_called_by_its_row():
    (row,) = found(case_of(MAIN, b.lateral(None, (100, 50), (0, 50)), outlets=OUTLET), "bad-geometry")
    assert (row.drain_id, row.severity) == ("line 1", "note")


def test_removed_pipe_may_be_drawn_as_it_likes():
    assert found(case_of(MAIN, drawn(None, status="removed"), outlets=OUTLET), "bad-geometry") == []
