"""Laterals left out of a row. Figures in feet and acres."""

import builders as b
import numpy as np
import pytest
import scenarios
from combs import US, comb, county, in_feet, turned
from fallkeeper.plugin.missing.combs import find_combs
from fallkeeper.plugin.missing.teeth import missing_teeth
from hypothesis import given, settings
from hypothesis import strategies as st

MOST = 3


def teeth(case, land=None):
    return missing_teeth(case, find_combs(case, MOST), land)


def heights(found, **frame):
    """The y of every probable lateral, lowest first."""
    return sorted(round(float(in_feet(one.geometry, **frame)[:, 1].mean()), 1) for one in found)


def test_a27_one_tooth_and_none_beyond_the_last():
    (found,) = teeth(county(comb((0, 50, 100, 200, 250))))
    xy = in_feet(found.geometry)
    assert xy[:, 1] == pytest.approx([150, 150], abs=3)
    assert sorted(xy[:, 0]) == pytest.approx([0, 871.2], abs=0.5)
    assert found.area_m2 / US.area_m2 == pytest.approx(1.0, abs=0.001)
    assert found.confidence == "likely"
    assert "100.0 ft lie between" in found.reasons[0]
    assert "50.0 ft apart" in found.reasons[0]


@pytest.mark.parametrize(("places", "expected"), [
    ((0, 30, 60, 120, 150, 180), [90]),
    ((0, 66, 132, 198, 330, 396, 462), [264]),
    ((0, 50, 100, 250, 300, 350), [150, 200]),
    ((0, 50, 150, 200, 250, 350, 400, 450), [100, 300]),
    ((0, 50, 100, 150, 200), []),
    ((0, 50, 100, 200), [150]),
    ((0, 100, 150, 200), [50]),
])
def test_other_spacings_and_several_gaps(places, expected):
    assert heights(teeth(county(comb(places, spacing=None)))) == pytest.approx(expected, abs=3)


@pytest.mark.parametrize("places", [
    (0, 25, 50, 75, 100, 150, 200, 250, 300),  # the spacing changes
    (0, 25, 50, 75, 100, 150, 200),
    (0, 30, 90, 120, 200, 240, 340),  # no rule
    (0, 50, 200, 250),  # a gap among too few
    (0, 50, 100, 600, 650, 700),  # far too wide
])
def test_no_tooth_where_the_gaps_tell_nothing(places):
    assert teeth(county(comb(places, spacing=None))) == []


def test_where_wide_gaps_come_again_and_again_it_is_a_guess_and_says_so():
    """Laterals laid in pairs."""
    found = teeth(county(comb((50, 100, 200, 250, 350, 400, 500, 550, 650, 700))))
    assert {one.confidence for one in found} <= {"a guess"}
    assert all("may have been laid so" in "; ".join(one.reasons) for one in found)
    two = teeth(county(comb((0, 50, 100, 200, 250, 300, 400, 450, 500))))
    assert [one.confidence for one in two] == ["likely"] * 2, "one more gap around is no rule"


def test_a_gap_as_wide_as_the_stated_spacing_is_no_gap():
    rows = comb((0, 50, 100, 200, 250))
    for row in rows[2:4]:
        row["spacing"] = 100.0
    assert teeth(county(rows)) == []


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-180, 180), st.integers(5, 12), st.data(), st.floats(20, 120), st.integers(0, 2**32 - 1), st.booleans(),
)
def test_any_bearing_jitter_and_drawing_direction(degrees, count, data, spacing, seed, far_away):
    """One lateral taken out of the middle of a row is found where it lay, and nothing else."""
    gone = data.draw(st.integers(2, count - 3))
    rng = np.random.default_rng(seed)
    jitter = 0.02 * spacing
    rows = []
    for k in range(count):
        if k != gone:
            ends = [(rng.normal(0, jitter), k * spacing + rng.normal(0, jitter)),
                    (600 + rng.normal(0, 5), k * spacing + rng.normal(0, jitter))]
            rows.append(b.lateral(f"L{k}", *(ends if rng.random() < 0.5 else ends[::-1]), spacing=None))
    frame = {"degrees": degrees, "east": 2e6 * far_away, "north": 8e5 * far_away}
    found = teeth(county(turned(rows, **frame)))
    assert heights(found, **frame) == pytest.approx([gone * spacing], abs=0.1 * spacing)
    assert found[0].area_m2 / b.FT**2 == pytest.approx(600 * spacing, rel=0.1)


def test_several_sets_each_by_its_own_rule():
    rows = [*comb((0, 50, 100, 200, 250), prefix="A"), *comb((0, 30, 90, 120, 150), x=2000, prefix="B", spacing=None)]
    rows += turned(comb((0, 40, 80, 160, 200, 240), prefix="C"), 35, 0, 3000)
    found = teeth(county(rows))
    assert sorted(round(one.spacing_m / b.FT) for one in found) == [30, 40, 50]


def test_a_main_that_receives_the_neighbours_receives_the_lateral():
    """The main bends between the neighbours, so the new lateral is drawn up to it."""
    rows = comb((0, 50, 100, 200, 250))
    rows.append(b.main("M", (0, 250), (0, 200), (-8, 150), (0, 100), (0, 0)))
    (found,) = teeth(county(rows, [b.outlet(0, 0)]))
    assert found.geometry.distance(b.shapely.Point(-8 * b.FT, 150 * b.FT)) == pytest.approx(0, abs=0.01)
    assert found.flow_known
    assert in_feet(found.geometry)[-1] == pytest.approx([-8, 150], abs=0.1), "drawn the way the water flows"


def test_size_and_inverts_come_from_both_neighbours():
    rows = comb((0, 50, 100, 200, 250), diameter=4.0, material="clay")
    for row, y in zip(rows, (0, 50, 100, 200, 250)):
        row.update(invert_start=95 + 0.001 * y, invert_end=96 + 0.001 * y)
    (found,) = teeth(county(rows))
    assert found.diameter_m == pytest.approx(4 * b.IN)
    assert found.material == "clay"
    ends = sorted([found.invert_start_m / b.FT, found.invert_end_m / b.FT])
    assert ends == pytest.approx([95.15, 96.15])
    rows[2]["diameter"], rows[2]["invert_end"] = 5.0, None
    (found,) = teeth(county(rows))
    assert np.isnan(found.diameter_m)
    assert np.isnan([found.invert_start_m, found.invert_end_m]).sum() == 1


ROW = (0, 50, 100, 200, 250)


def land_beside(use, **fields):
    """A field with a strip of other land between y 130 and 170."""
    return b.land(b.box("S", -50, -50, 950, 130, owner="A", use="field"),
                  b.box("N", -50, 170, 950, 300, owner="A", use="field"),
                  b.box("X", -50, 130, 950, 170, use=use, **fields))


@pytest.mark.parametrize(("use", "owner"), [("road", "County"), ("road", "A"), ("pond", "A"), ("lot", "B"),
                                            ("field", "B")])
def test_no_tooth_where_other_land_lies_between(use, owner):
    assert teeth(county(comb(ROW)), land_beside(use, owner=owner)) == []


def test_no_tooth_across_land_that_is_not_drawn():
    gap = b.land(b.box("S", -50, -50, 950, 130, owner="A"), b.box("N", -50, 170, 950, 300, owner="A"))
    assert teeth(county(comb(ROW)), gap) == []


def test_no_tooth_between_two_owners():
    two = b.land(b.box("S", -50, -50, 950, 150, owner="A"), b.box("N", -50, 150, 950, 300, owner="B"))
    assert teeth(county(comb(ROW)), two) == []


def test_a_tooth_inside_one_field_or_between_two_of_one_owner():
    one = b.land(b.box("S", -50, -50, 950, 300, owner="A", use="field"))
    (found,) = teeth(county(comb(ROW)), one)
    assert (found.confidence, "both lie in one field" in found.reasons) == ("likely", True)
    assert len(teeth(county(comb(ROW)), land_beside("field", owner="A"))) == 1
    elsewhere = b.land(b.box("S", 5000, 0, 6000, 300, owner="A"))
    assert len(teeth(county(comb(ROW)), elsewhere)) == 1, "where no land is drawn at all nothing speaks against it"


def test_a_lot_that_the_row_passes_under_does_not_hide_a_tooth():
    around = b.land(b.box("LOT", 300, 120, 500, 220, owner="B", use="lot"),
                    b.box("S", -50, -50, 950, 300, owner="A", use="field"))
    assert len(teeth(county(comb(ROW)), around)) == 1


@pytest.mark.parametrize("status", ["in_ground", "abandoned", "removed", "proposed"])
def test_no_tooth_where_pipe_of_any_status_is_drawn(status):
    other = b.main("X", (50, 140), (800, 165), status=status)
    assert teeth(county([*comb(ROW), other])) == []


def test_a_pipe_across_the_gap_does_not_hide_a_tooth():
    assert len(teeth(county([*comb(ROW), b.main("X", (400, -100), (450, 400))]))) == 1


def test_no_tooth_between_two_systems_that_both_have_an_outlet():
    rows = [*comb(ROW), b.main("low", (0, 100), (0, -100)), b.main("high", (0, 200), (0, 400))]
    assert teeth(county(rows, [b.outlet(0, -100), b.outlet(0, 400, "O2")])) == []
    assert len(teeth(county(rows, [b.outlet(0, -100)]))) == 1, "one may belong to the other"


def test_pipe_that_is_not_in_the_ground_makes_no_row():
    rows = comb(ROW)
    for row in rows[:3]:
        row["status"] = "proposed"
    assert teeth(county(rows)) == []


@pytest.mark.parametrize("bridged", [False, True])
def test_the_sample_lacks_one_lateral_and_no_other(bridged):
    case = scenarios.case(bridged, False)
    (found,) = teeth(case.county, case.land)
    xy = b.shapely.get_coordinates(found.geometry) / case.units.foot_m
    assert xy[:, 1] == pytest.approx([550, 550], abs=0.5)
    assert sorted(xy[:, 0]) == pytest.approx([3128.8, 4000], abs=0.5)
    assert found.area_m2 / case.units.area_m2 == pytest.approx(1.0, abs=0.001)
    assert found.confidence == "likely"


def test_lines_without_any_field_are_looked_at_too():
    rows = [{"drain_id": None, "geometry": row["geometry"]} for row in comb((0, 60, 120, 240, 300))]
    (found,) = teeth(county(rows))
    assert heights([found]) == pytest.approx([180], abs=3)
    assert any("no spacing in the archive" in reason for reason in found.reasons)
