"""Mains along rows of open ends. Figures in feet and acres."""

import builders as b
import numpy as np
import pytest
import scenarios
from combs import US, county, in_feet, turned
from fallkeeper.plugin.missing.combs import find_combs
from fallkeeper.plugin.missing.mains import unmapped_mains
from hypothesis import given, settings
from hypothesis import strategies as st

A28 = ((10, 0), (9, 50), (11, 100), (10, 150), (10, 200))


def laterals(ends=A28, fall=0.001, rise=1.0, length=871.2, prefix="L", known=True):
    """Laterals that run east from their lower ends; inverts fall toward y = 0 by `fall`."""
    rows = []
    for k, (x, y) in enumerate(ends):
        inverts = {"invert_start": 95 + fall * y, "invert_end": 95 + fall * y + rise} if known else {}
        rows.append(b.lateral(f"{prefix}{k}", (x, y), (x + length, y), located_by="level", **inverts))
    return rows


def mains(case):
    return unmapped_mains(case, find_combs(case, 3))


def test_a28_one_main_with_its_flow():
    (found,) = mains(county(laterals()))
    xy = in_feet(found.geometry)
    assert xy[:, 0] == pytest.approx([10, 10], abs=1)
    assert xy[:, 1] == pytest.approx([200, 0], abs=1), "drawn from y = 200 to y = 0: the way it flows"
    assert found.flow_known
    assert found.area_m2 / US.area_m2 == pytest.approx(5.0, abs=0.001)
    assert found.confidence == "likely"
    assert "lower ends of 5 laterals" in found.reasons[0]


def test_flow_the_other_way():
    (found,) = mains(county(laterals(fall=-0.002)))
    assert in_feet(found.geometry)[-1, 1] == pytest.approx(200, abs=1)


def test_without_inverts_the_flow_is_not_known_and_it_is_less_sure():
    (found,) = mains(county(laterals(known=False)))
    assert not found.flow_known
    assert found.confidence == "possible"
    assert any("which way it flows is not known" in reason for reason in found.reasons)


def test_inverts_that_do_not_tell_leave_the_flow_open():
    (found,) = mains(county(laterals(fall=0.000001)))
    assert not found.flow_known


def test_the_row_of_lower_ends_not_that_of_upper_ends():
    """Upper ends stand in a perfect row, lower ends do not quite: inverts decide."""
    rows = laterals()
    for row in rows:
        xy = b.shapely.get_coordinates(row["geometry"])
        row["geometry"] = b.shapely.LineString([xy[0], (900, xy[1][1])])
    (found,) = mains(county(rows))
    assert in_feet(found.geometry)[:, 0] == pytest.approx([10, 10], abs=1)


def test_one_end_far_off_does_not_turn_the_main():
    ends = ((10, 0), (9, 50), (60, 100), (10, 150), (10, 200), (11, 250), (10, 300))
    (found,) = mains(county(laterals(ends)))
    assert in_feet(found.geometry)[:, 0] == pytest.approx([10, 10], abs=1)


@pytest.mark.parametrize(("ends", "east"), [(A28, 12), ([(10, y) for y in range(0, 201, 50)], 20)])
def test_two_rows_that_meet_from_both_sides_have_one_main(ends, east):
    """Some feet apart, or end to end."""
    west = turned(laterals(ends, prefix="W"), 180, east, 200)
    for row, y in zip(west, (200, 150, 100, 50, 0)):
        row.update(invert_start=95 + 0.001 * y, invert_end=96 + 0.001 * y)
    (found,) = mains(county([*laterals(ends), *west]))
    middle = east / 2
    assert in_feet(found.geometry)[:, 0] == pytest.approx([middle, middle], abs=6)
    assert found.area_m2 / US.area_m2 == pytest.approx(10.0, abs=0.2)


def test_laterals_drawn_in_two_parts_have_no_main_where_the_parts_meet():
    rows = []
    for k in range(5):
        y = 50 * k
        rows.append(b.lateral(f"I{k}", (0, y), (400, y), invert_start=95 + 0.001 * y, invert_end=95.4 + 0.001 * y))
        rows.append(b.lateral(f"O{k}", (400, y), (800, y), invert_start=95.4 + 0.001 * y, invert_end=95.8 + 0.001 * y))
    (found,) = mains(county(rows))
    assert in_feet(found.geometry)[:, 0] == pytest.approx([0, 0], abs=1)


def test_a_main_that_bends_follows_the_ends():
    ends = [(0.0015 * y * y, y) for y in range(0, 501, 50)]
    (found,) = mains(county(laterals(ends)))
    xy = b.shapely.points([(x * b.FT, y * b.FT) for x, y in ends])
    assert b.shapely.distance(xy, found.geometry).max() / b.FT < 12


@settings(max_examples=20, deadline=None)
@given(st.floats(-180, 180), st.integers(4, 12), st.integers(0, 2**32 - 1), st.booleans())
def test_any_bearing_and_jitter(degrees, count, seed, up):
    rng = np.random.default_rng(seed)
    ends = [(rng.normal(0, 1.5), 50.0 * k) for k in range(count)]
    frame = {"degrees": degrees, "east": 2e6, "north": 8e5}
    (found,) = mains(county(turned(laterals(ends, fall=0.002 if up else -0.002), **frame)))
    xy = in_feet(found.geometry, **frame)
    assert xy[:, 0] == pytest.approx([0, 0], abs=6)
    low = 0 if up else 50 * (count - 1)
    assert xy[-1, 1] == pytest.approx(low, abs=3)


def test_no_main_for_too_few_or_where_one_is_drawn():
    assert mains(county(laterals(A28[:2]))) == []
    for status in ("in_ground", "proposed", "abandoned"):
        drawn = b.main("M", (0, -50), (0, 250), status=status)
        assert mains(county([*laterals(), drawn])) == []


@pytest.mark.parametrize("role", ["main", "submain", None])
@pytest.mark.parametrize("sheets", [1, 4])
def test_no_main_along_the_upper_ends_of_laterals_whose_main_is_cut_off(role, sheets):
    """No invert is known, and the drawn pipe they run into reaches no outlet."""
    places = range(0, 401, 50)
    rows = [b.lateral(f"L{k}", (0, y), (400, y)) for k, y in enumerate(places)]
    step = 400 // sheets
    drawn = [b.pipe(f"M{k}", (0, (k + 1) * step), (0, k * step), role=role) for k in range(sheets)]
    assert mains(county(rows + drawn)) == []
    (found,) = mains(county(rows))
    assert found.confidence == "possible"


def test_laterals_drawn_on_two_sheets_lack_a_main_all_the_same():
    rows = [b.lateral(f"L{k}", (0, y), (400, y)) for k, y in enumerate(range(0, 401, 50))]
    rows += [b.lateral(f"U{k}", (400, y), (800, y)) for k, y in enumerate(range(0, 401, 50))]
    assert len(mains(county(rows))) >= 1


def test_no_main_where_the_laterals_reach_an_outlet():
    main = b.main("M", (10, 200), (10, 0))
    rows = [*laterals([(10, y) for y in (0, 50, 100, 150, 200)]), main]
    assert mains(county(rows, [b.outlet(10, 0)])) == []


def test_no_main_where_ends_stand_in_no_row():
    ends = ((0, 0), (400, 50), (20, 100), (350, 150), (0, 200), (300, 250))
    assert mains(county(laterals(ends, known=False))) == []


@pytest.mark.parametrize("bridged", [False, True])
def test_the_sample_has_no_unmapped_main(bridged):
    assert mains(scenarios.case(bridged, False).county) == []
