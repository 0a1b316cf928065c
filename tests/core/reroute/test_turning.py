"""What must not depend on how things were drawn."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reroutes import R1, R2, judged, sample_county

PLACES = st.tuples(st.integers(200, 1800), st.integers(60, 1090))


def told(found):
    """All that is told, without what is drawn."""
    return found.verdict, found.p_reverse, found.fall, found.findings, found.why, found.stations


def same(one, other):
    """Equal but for rounding; NaN equals NaN."""
    if isinstance(one, (list, tuple)):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    return one == pytest.approx(other, abs=1e-5, nan_ok=True) if isinstance(one, float) else one == other


@pytest.mark.parametrize("route", [R1, R2])
def test_the_sample_routes_drawn_the_other_way(route):
    settled = {"invert_error": 0.03, "diameter": 12, "openings": "perforated", "least_grade": 0.05}
    assert same(told(judged(sample_county(), route, **settled)), told(judged(sample_county(), route[::-1], **settled)))


@settings(max_examples=25)
@given(y=st.integers(50, 2200), bend=PLACES, lateral=st.integers(2, 20), along=st.integers(100, 800))
def test_any_route_between_the_main_and_a_lateral(y, bend, lateral, along):
    """From main A by way of a bend to a place on a lateral of F1."""
    route = ((1000, y), bend, (1000 - along, 50 + 50 * lateral))
    forth, back = (judged(sample_county(), points, invert_error=0.05) for points in (route, route[::-1]))
    assert same(told(forth), told(back))
