"""A turned line: every figure at its own place still, twice is nothing, and the network does not care."""

import builders as b
import shapely
from fallkeeper.plugin.drain_edits.drawn import PAIRS, Drawn, end_pairs
from fallkeeper.plugin.drain_edits.flip import flipped, turned_span
from fallkeeper.plugin.schema import layer
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import a01_rows, answer, build

coordinate = st.tuples(*[st.floats(-1e6, 1e6)] * 3)
figure = st.one_of(st.none(), st.floats(-100, 1000))
row = st.fixed_dictionaries({"drain_id": st.just("A"), "name": st.just("west"), **{
    column: figure for pair in PAIRS for column in pair}})


def test_the_pairs_are_those_of_the_schema():
    assert PAIRS == (("depth_start", "depth_end"), ("invert_start", "invert_end"))
    assert end_pairs(layer("shots")) == () and end_pairs(layer("predictions")) == ()


def test_figures_and_elevations_stay_where_they_are_true():
    drawn = Drawn(((0, 0, 98.0), (50, 0, 97.5), (200, 0, 97.0)), {"invert_start": 98.0, "invert_end": 97.0,
                                                               "depth_start": None, "depth_end": 3.0, "name": "A"})
    assert flipped(drawn) == Drawn(((200, 0, 97.0), (50, 0, 97.5), (0, 0, 98.0)), {
        "invert_start": 97.0, "invert_end": 98.0, "depth_start": 3.0, "depth_end": None, "name": "A"})


def test_columns_a_layer_lacks_are_not_made_up():
    assert flipped(Drawn(((0, 0), (1, 0)), {"invert_start": 1.0, "invert_end": 2.0})).row == {
        "invert_start": 2.0, "invert_end": 1.0}


@given(st.lists(coordinate, min_size=2, max_size=6), row)
def test_twice_is_nothing(places, columns):
    drawn = Drawn(tuple(places), columns)
    assert flipped(flipped(drawn)) == drawn
    assert {c: flipped(drawn).row[c] for c in ("drain_id", "name")} == {"drain_id": "A", "name": "west"}


def test_stretches_are_told_from_the_other_end():
    assert turned_span(20.0, 50.0, 200.0) == (150.0, 180.0)
    assert turned_span(None, 50.0, 200.0) == (150.0, None)
    assert turned_span(*turned_span(20.0, 50.0, 200.0), 200.0) == (20.0, 50.0)


@settings(max_examples=40, deadline=None)
@given(st.sets(st.integers(0, 6)), st.booleans())
def test_the_network_is_the_same(turned, upward):
    rows = a01_rows(upward=upward, inverts=(95.0, 95.1, 95.2, 95.3))
    again = [_turn(one) if k in turned else one for k, one in enumerate(rows)]
    outlet = [b.outlet(0, 0)]
    assert answer(build(again, outlet)) == answer(build(rows, outlet))


def _turn(one):
    drawn = flipped(Drawn(tuple(one["geometry"].coords), {c: one.get(c) for pair in PAIRS for c in pair}))
    return {**one, **drawn.row, "geometry": shapely.LineString(drawn.places)}
