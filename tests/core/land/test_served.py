"""Land served by pipes: known areas by hand, in feet and acres."""

import numpy as np
import pytest
import shapely
from builders import FT, drains, lateral, main, pipe
from fallkeeper.plugin.land import profile
from fallkeeper.plugin.land.served import served_land
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from hypothesis import given
from hypothesis import strategies as st

ACRE_M2 = 43_560 * FT**2


def serve(*rows, active=None, unit_m=FT):
    layer = drains(*rows, unit_m=unit_m)
    lines, _ = explode(layer.geometry)
    active = np.ones(len(lines), dtype=bool) if active is None else np.array(active)
    return served_land(lines, layer, Limits(), active)


def square_feet(served):
    return served.area_m2 / FT**2


def land_of(served):
    every = np.arange(len(served.lines))
    return served.polygons(every, np.zeros(len(every)), served.lines.length_m)


def union_of_strips_m2(served):
    serves = served.spacing_m > 0
    strips = shapely.buffer(
        served.lines.geometry[serves], served.spacing_m[serves] / 2, cap_style="flat", join_style="mitre"
    )
    return shapely.union_all(strips).area


def assert_counted_once(served, tolerance):
    """The sum of the areas is the area of all polygons together and of all strips together."""
    total = served.area_m2.sum()
    assert shapely.union_all(land_of(served)).area == pytest.approx(total, rel=tolerance)
    assert union_of_strips_m2(served) == pytest.approx(total, rel=tolerance)


def test_a_lone_lateral_serves_length_times_spacing():
    served = serve(lateral("L", (0, 0), (871.2, 0)))
    assert served.area_m2[0] == pytest.approx(ACRE_M2, rel=1e-12)
    assert not served.spacing_assumed[0]


def test_a_lone_lateral_with_a_bend_serves_length_times_spacing():
    served = serve(lateral("L", (0, 0), (400, 0), (800, 300)))
    assert square_feet(served)[0] == pytest.approx(900 * 50, rel=1e-12)
    assert shapely.area(land_of(served))[0] == pytest.approx(served.area_m2[0], rel=1e-9)


def test_a_comb_serves_an_acre_a_lateral_and_the_main_nothing():
    laterals = [lateral(f"W{y}", (128.8, y), (1000, y)) for y in range(100, 600, 50)]
    laterals += [lateral(f"E{y}", (1000, y), (1871.2, y)) for y in range(100, 600, 50)]
    served = serve(main("A", (1000, 0), (1000, 700)), *laterals)
    assert served.area_m2[0] == 0.0
    assert np.isnan(served.spacing_m[0])
    assert served.area_m2[1:] == pytest.approx(np.full(20, ACRE_M2), rel=1e-12)


@pytest.mark.parametrize("spacing", [50.0, 25.0])
def test_laterals_between_laterals_add_no_land(spacing):
    old = [lateral(f"L{y}", (0, y), (871.2, y)) for y in range(0, 300, 50)]
    new = [lateral(f"N{y}", (0, y), (871.2, y), spacing=spacing) for y in range(25, 275, 50)]
    served = serve(*old, *new)
    assert served.area_m2.sum() == pytest.approx(6 * ACRE_M2, rel=1e-12)
    assert served.area_m2[len(old):] == pytest.approx(np.full(5, ACRE_M2 / 2), rel=1e-12)


def test_unequal_spacings_meet_half_way_where_both_reach_there():
    served = serve(lateral("A", (0, 0), (100, 0), spacing=60.0), lateral("B", (0, 40), (100, 40), spacing=50.0))
    assert square_feet(served) == pytest.approx([100 * (30 + 20), 100 * (20 + 25)])


def test_unequal_spacings_leave_to_the_wider_strip_what_the_narrower_does_not_reach():
    served = serve(lateral("A", (0, 0), (100, 0), spacing=60.0), lateral("B", (0, 40), (100, 40), spacing=24.0))
    assert square_feet(served) == pytest.approx([100 * (30 + 28), 100 * (12 + 12)])
    assert_counted_once(served, 1e-9)


def test_a_neighbour_of_half_the_length_takes_half_the_overlap_over_its_length():
    served = serve(lateral("A", (0, 0), (200, 0)), lateral("B", (0, 30), (100, 30)))
    assert square_feet(served) == pytest.approx([200 * 25 + 100 * 15 + 100 * 25, 100 * (15 + 25)], rel=1e-9)
    assert_counted_once(served, 1e-9)


@pytest.mark.parametrize("offset", [0.0, 10.0])
def test_laterals_on_both_sides_of_a_main_take_nothing_from_each_other(offset):
    west = [lateral(f"W{y}", (0, y), (871.2, y)) for y in (0, 50, 100)]
    east = [lateral(f"E{y}", (871.2, y + offset), (1742.4, y + offset)) for y in (0, 50, 100)]
    served = serve(main("M", (871.2, -50), (871.2, 200)), *west, *east)
    assert served.area_m2[1:] == pytest.approx(np.full(6, ACRE_M2), rel=1e-12)


def test_an_overshoot_over_the_main_is_not_counted_twice():
    served = serve(lateral("W", (0, 0), (101, 0)), lateral("E", (100, 10), (200, 10)))
    assert_counted_once(served, 1e-6)


@pytest.mark.parametrize("begins", [0.0, -300.0])
def test_a_main_that_serves_shares_with_laterals_that_join_or_cross_it(begins):
    laterals = [lateral(f"L{y}", (begins, y), (400, y)) for y in range(0, 300, 50)]
    served = serve(main("M", (0, -100), (0, 400), spacing=50.0), *laterals)
    assert served.area_m2[0] > 0
    assert_counted_once(served, 1e-6)


def test_crossing_at_a_slant_counts_every_square_metre_once():
    laterals = [lateral(f"L{y}", (0, y), (871.2, y)) for y in range(0, 300, 50)]
    served = serve(*laterals, lateral("N9", (200, -20), (600, 230)))
    assert_counted_once(served, 1e-3)


def test_a_pipe_drawn_over_another_gets_nothing():
    served = serve(lateral("A", (0, 0), (871.2, 0)), lateral("B", (871.2, 0), (0, 0)))
    assert served.area_m2 == pytest.approx([ACRE_M2, 0.0])


def test_curved_neighbours_count_every_square_metre_once():
    x = np.linspace(0, 800, 17)
    bend = 40 * np.sin(x / 150)
    served = serve(*(lateral(f"L{y}", *zip(x, y + bend)) for y in range(0, 250, 45)))
    assert_counted_once(served, 1e-3)


def test_only_active_lines_serve():
    rows = [lateral("A", (0, 0), (871.2, 0)), lateral("B", (0, 25), (871.2, 25))]
    served = serve(*rows, active=[True, False])
    assert served.area_m2 == pytest.approx([ACRE_M2, 0.0])


def test_nothing_serves_in_a_layer_of_mains():
    served = serve(main("M", (0, 0), (100, 0)), pipe("?", (0, 50), (100, 50)))
    assert served.area_m2.tolist() == [0.0, 0.0]
    assert shapely.is_empty(land_of(served)).all()
    assert served.area_of([0, 1], [0.0, 0.0], [10.0, 10.0]).tolist() == [0.0, 0.0]


def test_a_pipe_of_unknown_role_serves_with_a_stated_spacing_only():
    served = serve(pipe("a", (0, 0), (871.2, 0), spacing=50.0), pipe("b", (0, 200), (871.2, 200)))
    assert served.area_m2 == pytest.approx([ACRE_M2, 0.0])
    assert served.spacing_source.tolist() == ["stated", ""]


def test_areas_of_stretches_add_up_and_agree_with_their_polygons():
    served = serve(
        lateral("A", (0, 0), (200, 0)), lateral("B", (0, 30), (100, 30)), lateral("C", (20, -70), (180, 60)),
        lateral("D", (0, -30), (150, -36)),
    )
    line, share = np.repeat(np.arange(4), 10), np.tile(np.linspace(0, 1, 11), (4, 1))
    at = share * served.lines.length_m[:, None]
    low, high = at[:, :-1].ravel(), at[:, 1:].ravel()
    areas = served.area_of(line, low, high)
    assert np.bincount(line, areas) == pytest.approx(served.area_m2)
    assert shapely.area(served.polygons(line, low, high)) == pytest.approx(areas, abs=1e-6)


def test_the_profile_has_both_widths():
    served = serve(lateral("A", (0, 0), (200, 0)), lateral("B", (100, 30), (200, 30)))
    a = slice(served.first[0], served.first[1])
    assert served.at_m[a] / FT == pytest.approx([0, 100, 100, 200])
    assert served.left_m[a] / FT == pytest.approx([25, 25, 15, 15])
    assert served.right_m[a] / FT == pytest.approx([25, 25, 25, 25])


def test_coordinates_far_from_the_origin_give_the_same_areas():
    near = [lateral("A", (0, 0), (800, 120)), lateral("B", (0, 30), (400, 90)), lateral("C", (50, -70), (600, 200))]
    far = [{**row, "geometry": shapely.transform(row["geometry"], lambda xy: xy + [2.1e6, 8e5])} for row in near]
    assert serve(*far).area_m2 == pytest.approx(serve(*near).area_m2, rel=1e-4)


@st.composite
def combs(draw):
    """Parallel laterals at any bearing and any distances, each from anywhere to anywhere, of one spacing."""
    angle = draw(st.floats(0, 6.28))
    along, square = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    spacing = draw(st.floats(10, 120))
    rows, across = [], 0.0
    for k in range(draw(st.integers(1, 8))):
        across += draw(st.floats(2, 90))
        begin, length = draw(st.floats(0, 300)), draw(st.floats(20, 900))
        ends = [begin * along + across * square, (begin + length) * along + across * square]
        rows.append(lateral(f"L{k}", *(ends if draw(st.booleans()) else ends[::-1]), spacing=spacing))
    return rows


@given(combs())
def test_parallel_combs_serve_the_union_of_their_strips(rows):
    assert_counted_once(serve(*rows), 5e-3)


@pytest.mark.parametrize("at_once", (1, 5, 100))
def test_land_is_shared_out_alike_in_parts_of_any_size(monkeypatch, at_once):
    """Bent and crossing laterals, one drawn upon another, so that rivals lie in other parts."""
    rows = [lateral(f"L{k}", (7 * k, 40 * k), (500, 40 * k + 11 * (k % 3)), (900, 40 * k - 30)) for k in range(12)]
    rows += [lateral("X", (90, -50), (140, 600)), lateral("L3 again", (21, 120), (500, 120)), main("A", (0, 0), (0, 9))]
    whole = serve(*rows)
    monkeypatch.setattr(profile, "AT_ONCE", at_once)
    parts = serve(*rows)
    assert np.array_equal(parts.first, whole.first)
    for of_parts, of_whole in ((parts.at_m, whole.at_m), (parts.left_m, whole.left_m), (parts.right_m, whole.right_m)):
        assert of_parts == pytest.approx(of_whole, abs=1e-6)


def test_new_laterals_between_old_ones_add_pipe_and_no_acres():
    """Field F7 of the demo county: 17 laterals, six new ones half-way between the lower seven."""
    old = [lateral(f"F7-{k:02d}", (3128.8, 1200 + 50 * k), (4000, 1200 + 50 * k)) for k in range(17)]
    new = [lateral(f"N{k}", (4000, 1225 + 50 * k), (3128.8, 1225 + 50 * k)) for k in range(6)]
    before, after = serve(*old), serve(*old, *new)
    assert (after.lines.length_m.sum() - before.lines.length_m.sum()) / FT == pytest.approx(5227.2)
    assert after.area_m2.sum() == pytest.approx(17 * ACRE_M2, rel=1e-12)
    assert before.area_m2.sum() == pytest.approx(17 * ACRE_M2, rel=1e-12)
