"""Whatever is drawn, no check crashes, and every finding says something that can be true."""

import builders as b
import numpy as np
import pytest
import shapely
from cases import case_of, results_of
from fallkeeper.plugin.checks.declare import CANNOT_TELL, FOUND, REVERSE, UNKNOWN, Severity
from fallkeeper.plugin.result_tables import finding_shapes, findings_table, not_checked_table
from hypothesis import given, settings
from hypothesis import strategies as st

CALLS = {FOUND, REVERSE, CANNOT_TELL, UNKNOWN}

place = st.tuples(st.integers(0, 8), st.integers(0, 8)).map(lambda xy: (xy[0] * 50.0, xy[1] * 50.0))
level = st.one_of(st.none(), st.integers(0, 12).map(lambda k: 95 + k / 10))
line = st.lists(place, min_size=1, max_size=4).map(lambda xy: shapely.LineString(xy if len(xy) > 1 else xy * 2))
drawn = st.one_of(line, line, line, st.lists(line, min_size=2, max_size=2).map(shapely.MultiLineString), st.none())


def maybe(*words):
    return st.sampled_from([None, *words])


drain = st.fixed_dictionaries({
    "drain_id": st.sampled_from([None, "A", "B", "C", "D", "E"]), "geometry": drawn,
    "role": maybe("lateral", "main", "outlet_pipe"), "status": maybe("in_ground", "in_ground", "abandoned"),
    "openings": maybe("none", "perforated"), "material": maybe("clay", "corrugated_plastic"),
    "located_by": maybe("level", "machine_log"), "diameter": maybe(4.0, 6.0, 12.0), "spacing": maybe(50.0),
    "depth_start": maybe(0.5, 3.0, 9.0), "invert_start": level, "invert_end": level, "invert_error": maybe(0.0, 0.1),
})
outlet = st.builds(
    lambda xy, invert, water, guard: b.outlet(*xy, invert=invert, water_level=water, bed_level=water, guard=guard),
    place, level, level, maybe("true", "false"),
)
shot = st.builds(
    lambda xy, z, of, key: b.shot("S", *xy, z, of=of, drain_id=key),
    place, level, maybe("invert", "pipe_top", "ground"), maybe("A", "Z"),
)
tree = st.builds(lambda xy, thirst: b.tree("T", xy, thirst=thirst), place, maybe("high", "ordinary"))


def ground_with_a_hole(x, y):
    return np.where((np.abs(x - 220) < 40) & (y > 100), np.nan, 98 + x / 400 - y / 300)


@settings(max_examples=150)
@given(
    drains=st.lists(drain, max_size=6), outlets=st.lists(outlet, max_size=2), shots=st.lists(shot, max_size=4),
    trees=st.lists(tree, max_size=3), with_ground=st.booleans(), accept=st.booleans(),
    tolerance=st.sampled_from([0.0, 1.0, 60.0]),
)
def test_no_drawing_is_too_odd(drains, outlets, shots, trees, with_ground, accept, tolerance):
    case = case_of(
        *drains, outlets=outlets, shots=shots, trees=trees, land=[b.box("H", 90, 90, 210, 160, use="lot")],
        ground=ground_with_a_hole if with_ground else None, accept=accept, tolerance=tolerance,
    )
    results = results_of(case)
    found = results.findings
    assert set(found.call) <= CALLS and all(isinstance(severity, Severity) for severity in found.severity)
    assert not np.isinf(np.concatenate([found.value, found.limit])).any()
    chance = found.probability[np.isfinite(found.probability)]
    assert ((chance >= 0) & (chance <= 1)).all()
    stretch = ~found.place
    assert (found.from_m[stretch] < found.to_m[stretch]).all() and (found.line[stretch] >= 0).all()
    assert (found.from_m[stretch] >= -1e-6).all()
    assert (found.to_m[stretch] <= case.network.lines.length_m[found.line[stretch]] + 1e-6).all()
    shapes = finding_shapes(case.county, found)
    assert (shapely.length(shapes[stretch]) > 0).all()
    assert {len(column) for column in findings_table(case.county, found).values()} == {len(found)}
    not_checked_table(case.county, results)
    _grades_add_up(case)


def _grades_add_up(case):
    """Known, doubtful and unknown stretches cover each piece of pipe with a direction exactly once."""
    net, grades = case.network, case.county.grades
    directed = net.direction != 0
    total = net.pieces.length_m[directed].sum()
    assert (grades.to_m - grades.from_m).sum() <= total + net.touch_m * len(net.pieces) + 1e-6
    for line in np.unique(grades.line):
        rows = np.flatnonzero(grades.line == line)
        begin = np.concatenate([grades.from_m[rows], grades.unknown_from_m[grades.unknown_line == line]])
        end = np.concatenate([grades.to_m[rows], grades.unknown_to_m[grades.unknown_line == line]])
        order = np.argsort(begin)
        assert (begin[order][1:] >= end[order][:-1] - 1e-6).all()


@pytest.mark.parametrize("drain", [b.main("M", (0, 0), (0, 300)), {"drain_id": "X", "geometry": None}])
def test_a_single_drain_of_which_nothing_is_known(drain):
    results_of(case_of(drain))
