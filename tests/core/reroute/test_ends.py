"""What the ends of a route tie in to, which of them is the upper one, and what inverts they have."""

import builders as b
import numpy as np
import pytest
import shapely
from fallkeeper.plugin.reroute.plan import RouteError, one_route
from reroutes import county_of, judged, of, plan_of, sample_county

OUTLET = b.outlet(0, 0)
# main up the y axis at 0.1 %, from 95.00 at its outlet
MAIN = b.main("M", (0, 0), (0, 1000), invert_start=95.0, invert_end=96.0, invert_error=0.01, diameter=12)


def names(found):
    """What the lower and the upper end tie in to."""
    notes = [row["note"] for row in found.stations]
    return notes[0].split(";")[0], notes[-1].split(";")[0]


def test_downstream_along_one_pipe():
    found = judged(county_of(MAIN, outlets=[OUTLET]), ((0, 200), (50, 400), (0, 600)))
    assert names(found) == ("lower tie-in, M at its 2+00", "upper tie-in, M at its 6+00")
    assert found.fall == pytest.approx(0.4)


def test_the_higher_end_is_not_taken_as_the_upper_one():
    fallen = dict(MAIN, invert_start=96.0, invert_end=95.0)  # the only outlet lies at the high end
    found = judged(county_of(fallen, outlets=[OUTLET]), ((0, 200), (50, 400), (0, 600)))
    assert found.verdict == "reverse" and found.fall == pytest.approx(-0.4)


def test_an_end_near_a_joint_ties_in_to_the_pipe_that_leads_on():
    high = b.lateral("L", (100, 500), (0, 500), invert_start=97.0, invert_end=96.0)
    found = judged(county_of(MAIN, high, outlets=[OUTLET]), ((0.4, 500.2), (50, 300), (0, 100)))
    assert names(found)[1] == "upper tie-in, M at its 5+00"
    assert found.stations[-1]["invert"] == pytest.approx(95.5)


def test_a_given_invert_wins_over_the_evidence_and_an_error_over_its_error():
    found = judged(county_of(MAIN, outlets=[OUTLET]), ((0, 200), (50, 400), (0, 600)), invert_up=95.3, invert_error=0.1)
    assert found.fall == pytest.approx(95.3 - 95.2)
    assert found.reroute.verdict.sigma_m / b.FT == pytest.approx(0.1 * np.sqrt(2))
    assert found.reroute.upper.how == "as given for this run"


def test_a_given_invert_without_an_error_has_that_of_a_figure_nobody_says_how_it_was_found():
    found = judged(county_of(MAIN, outlets=[OUTLET]), ((0, 200), (50, 400), (0, 600)), invert_up=95.3)
    assert found.reroute.upper.sigma_m == pytest.approx(0.05)


@pytest.mark.parametrize(("given", "lower_is_loose"), [
    ({"invert_down": 95.1}, True),
    ({"invert_up": 95.9}, False),
    ({}, True),
    ({"invert_down": 95.1, "invert_up": 95.9}, True),
])
def test_a_loose_end_is_the_one_whose_invert_was_given(given, lower_is_loose):
    found = judged(county_of(MAIN, outlets=[OUTLET]), ((300, 500), (0, 500)), **given)
    note = names(found)[0 if lower_is_loose else 1]
    assert note.endswith("end, in the open")
    loose, = of(found, "loose-end")
    assert loose["value"] == pytest.approx(300)
    assert "the nearest pipe is M, 300.0 ft away" in loose["detail"]
    assert loose["severity"] == ("doubt" if given else "serious")
    assert found.verdict == ("unknown" if not given else "falls")


def test_a_new_outlet_is_the_lower_end_with_its_own_invert():
    ditch = b.outlet(400, 100, "O2", name="Outlet 2", invert=94.0)
    found = judged(county_of(MAIN, outlets=[OUTLET, ditch]), ((400, 100), (0, 500)))
    assert names(found) == ("lower tie-in, Outlet 2", "upper tie-in, M at its 5+00")
    assert found.fall == pytest.approx(1.5) and found.verdict == "falls"
    assert not of(found, "loose-end") and not of(found, "no-outlet")


def test_the_end_that_reaches_an_outlet_is_the_lower_one():
    dead = b.main("D", (300, 0), (300, 1000), invert_start=97.0, invert_end=97.5)
    found = judged(county_of(MAIN, dead, outlets=[OUTLET]), ((0, 300), (300, 300)))
    assert names(found) == ("lower tie-in, M at its 3+00", "upper tie-in, D at its 3+00")
    assert "only from there an outlet is reached" in found.reroute.flow.why


def test_two_outlets_are_told_of():
    other = b.main("N", (300, 0), (300, 1000), invert_start=94.0, invert_end=95.0)
    found = judged(county_of(MAIN, other, outlets=[OUTLET, b.outlet(300, 0, "O2")]), ((0, 500), (300, 300)))
    assert names(found)[0] == "lower tie-in, N at its 3+00"
    assert "different outlets" in found.reroute.flow.why


def test_where_nothing_tells_which_end_is_up_the_verdict_is_unknown():
    one, other = (b.pipe(name, (x, 0), (x, 1000)) for name, x in (("P", 0), ("Q", 300)))
    found = judged(county_of(one, other), ((0, 500), (300, 500)))
    assert found.verdict == "unknown" and np.isnan(found.fall)
    assert "No invert is known at the upper end and the lower end" in of(found, "unknown-elevation")[0]["detail"]


def test_both_inverts_given_are_judged_wherever_the_ends_lie():
    found = judged(county_of(MAIN), ((500, 500), (900, 500)), invert_up=95.4, invert_down=95.0, invert_error=0.02)
    assert found.verdict == "falls" and found.grade == pytest.approx(0.1)
    assert len(of(found, "loose-end")) == 2


def test_a_receiving_pipe_without_an_outlet_is_serious():
    dead = b.main("D", (0, 0), (0, 1000), invert_start=95.0, invert_end=96.0, invert_error=0.01)
    far = b.outlet(5000, 0)
    found = judged(county_of(dead, b.main("F", (5000, 0), (5000, 100)), outlets=[far]), ((0, 200), (50, 400), (0, 600)))
    assert of(found, "no-outlet")[0]["severity"] == "serious"


def test_without_any_elevation_the_verdict_is_unknown_and_says_what_to_shoot():
    bare = b.main("M", (0, 0), (0, 1000), diameter=12)
    found = judged(county_of(bare, outlets=[OUTLET]), ((0, 200), (50, 400), (0, 600)), diameter=12)
    assert found.verdict == "unknown" and np.isnan([found.fall, found.grade, found.p_reverse]).all()
    row, = of(found, "unknown-elevation")
    assert row["call"] == "unknown" and "INVERT_UP and INVERT_DOWN" in row["detail"]
    assert not of(found, "reverse-grade") and "flat-grade" in found.why and "shallow-cover" in found.why
    assert all(np.isnan(station["invert"]) for station in found.stations)


def test_one_known_end_is_not_enough():
    bare = b.main("M", (0, 0), (0, 1000))
    found = judged(county_of(bare, outlets=[OUTLET]), ((0, 200), (50, 400), (0, 600)), invert_up=96.0)
    assert found.verdict == "unknown"
    assert of(found, "unknown-elevation")[0]["detail"] == (
        "No invert is known at the lower end: shoot the pipe there, or give INVERT_DOWN.")


def by_ground(length, **given):
    """A route beside a main nobody measured, under ground that falls a quarter of a percent."""
    bare = b.main("M", (0, 0), (0, 2000), depth_start=3.0, depth_end=3.0)
    place = county_of(bare, outlets=[OUTLET], ground=lambda x, y: 100.0 + 0.0025 * y)
    return judged(place, ((0, 200), (10, 200 + length / 2), (0, 200 + length)), **given)


def test_ground_alone_mostly_cannot_tell():
    found = by_ground(100)
    assert found.reroute.upper.how == "ground less stated depth"
    assert found.verdict == "cannot_tell" and found.fall == pytest.approx(0.25, abs=1e-3)


@pytest.mark.parametrize("length", [20.0, 100.0, 1000.0])
def test_errors_of_one_survey_go_together(length):
    """Ground and stated depth 0.10 m each, l = 30 m: variance of the fall 2·0.01·(1 - e^(-d/l)) + 2·0.01."""
    apart_m = length * b.FT
    expected = np.sqrt(2 * 0.01 * (1 - np.exp(-apart_m / 30.0)) + 2 * 0.01)
    assert by_ground(length).reroute.verdict.sigma_m == pytest.approx(expected)


def test_a_given_error_is_taken_as_independent():
    assert by_ground(20, invert_error=0.33).reroute.verdict.sigma_m / b.FT == pytest.approx(0.33 * np.sqrt(2))


def test_inverts_by_a_usual_depth_are_no_knowledge_of_cover():
    bare = b.main("M", (0, 0), (0, 2000))
    place = county_of(bare, outlets=[OUTLET], ground=lambda x, y: 100.0)
    found = judged(place, ((0, 200), (10, 300), (0, 400)), diameter=12)
    assert found.reroute.upper.how == "ground less usual depth"
    assert "less a usual depth" in found.why["shallow-cover"][0] and not of(found, "deep-trench")


@pytest.mark.parametrize(("shape", "says"), [
    (None, "no geometry"),
    (shapely.LineString(), "no geometry"),
    (shapely.MultiLineString([[(0, 0), (0, 1)], [(5, 5), (6, 6)]]), "several parts"),
    (shapely.LineString([(0, 0), (0, 0)]), "no length"),
    (shapely.LineString([(0, 0), (10, 10), (10, 0), (0, 10)]), "meets itself"),
    (shapely.LineString([(0, 0), (10, 10), (10, 0), (0, 0)]), "meets itself"),
    (shapely.Point(0, 0), "several parts"),
])
def test_a_route_that_cannot_be_judged_is_refused_in_a_sentence(shape, says):
    with pytest.raises(RouteError, match=says):
        one_route(b.drains({"drain_id": None, "geometry": shape}, unit_m=1.0))


def test_parts_that_meet_and_heights_are_taken_as_one_flat_line():
    shape = shapely.MultiLineString([[(0, 0, 5), (0, 1, 5)], [(0, 1, 5), (3, 1, 5)]])
    route = one_route(b.drains({"drain_id": None, "geometry": shape}, unit_m=1.0), "New")
    assert list(route.geometry[0].coords) == [(0, 0), (0, 1), (3, 1)]
    assert (route.drain_id[0], route.name[0]) == ("New", "New")


def test_a_planned_drain_keeps_its_key_and_its_own_figures_unless_others_are_given():
    row = b.pipe("P-7", (0, 0), (100, 0), name="Bypass", diameter=8, material="clay")
    route = one_route(b.drains(row), "layer", diameter_m=None, material="concrete")
    assert (route.drain_id[0], route.name[0], route.material[0]) == ("P-7", "Bypass", "concrete")
    assert route.diameter_m[0] == pytest.approx(8 * b.IN)


def test_the_county_itself_is_left_as_it_was():
    place = sample_county()
    before = len(place.county.network.lines), len(place.county.network.drains), place.county.ground
    judged(place, ((1000, 1075), (900, 600)))
    assert (len(place.county.network.lines), len(place.county.network.drains), place.county.ground) == before
    assert plan_of(((0, 0), (10, 0))).name == "New pipe"
