"""A new pipe while it is drawn: the known answers of the sample, and what is said where something is missing."""

import numpy as np
import pytest
import reroutes
import scenarios
from fallkeeper.plugin.answers.answer import as_text
from fallkeeper.plugin.answers.reroute import FIGURES, Asked, explain, figures, judge, proposed_row
from fallkeeper.plugin.reroute.plan import RouteError

FOOT = scenarios.US_SURVEY_FOOT_M


def sampler(x_m, y_m):
    return scenarios.ground_m(x_m, y_m)


def asked(points=reroutes.R1, **given):
    return Asked("R1", np.array(points, dtype=float) * FOOT, **given)


def judged(points=reroutes.R1, with_ground=True, **given):
    case = scenarios.case(bridged=True)
    return judge(case.county, asked(points, **given), sampler if with_ground else None, "ground", case.trees, case.land)


def shown(alternative):
    return dict(zip(FIGURES, figures(alternative)))


def test_s56_the_good_route():
    found = judged(diameter_m=15 * 0.0254, invert_error_m=0.03 * FOOT, least_grade=0.0005)
    row = shown(found)
    assert (row["Length"], row["Fall"], row["Grade"]) == ("550.0 ft", "0.350 ft", "0.0636 %")
    assert row["Deepest cut"].startswith("3.56") and row["Near trees"] == "63.9 ft"
    assert (row["Pipes met"], row["Left behind"]) == ("7", "14 drains, 7.803 acres")
    assert "falls all the way" in found.headline
    text = as_text(explain(found))
    assert "96.1 %" in text, "the chance of 0.05 %"
    assert "14 drains with 7.803 acres would have no way out" in text and "7 are stubs" in text
    assert "Locate buried utilities" in text


def test_s57_the_short_cut_rises():
    found = judged(reroutes.R2, invert_error_m=0.03 * FOOT)
    row = shown(found)
    assert (row["Length"], row["Fall"], row["Grade"]) == ("485.4 ft", "\u22120.125 ft", "\u22120.0258 %")
    assert row["Chance it runs backwards"] == "99.8 %" and found.reroute.verdict.call == "reverse"
    assert row["Left behind"] == "not known"


def test_without_ground_depth_is_unknown_and_said_so():
    found = judged(with_ground=False)
    row = shown(found)
    assert row["Deepest cut"] == row["Least earth above"] == "unknown"
    assert "No ground is known here" in as_text(explain(found))
    assert row["Fall"] == "0.350 ft"


def test_an_end_in_the_open_is_unknown_until_its_invert_is_typed():
    open_end = ((1000, 1075), (900, 1075), (900, 725))
    assert shown(judged(open_end))["Fall"] == "unknown"
    typed = judged(open_end, invert_down_m=696.5 * FOOT)
    assert shown(typed)["Fall"] == "0.175 ft"


def test_stations_and_places_go_together():
    found = judged()
    for station_ft, place in ((0, (1000, 725)), (100, (900, 725)), (450, (900, 1075)), (550, (1000, 1075))):
        assert np.array(found.place_at(station_ft * FOOT)) / FOOT == pytest.approx(place, abs=1e-6)
        assert found.station_near(np.array(place) * FOOT) / FOOT == pytest.approx(station_ft, abs=1e-6)


def test_the_row_for_the_archive_keeps_the_ends_as_drawn():
    down = proposed_row(judged(diameter_m=15 * 0.0254, invert_error_m=0.03 * FOOT), "main")
    assert (down["status"], down["evidence"], down["role"]) == ("proposed", "assumed", "main")
    assert (down["invert_start"], down["invert_end"]) == (pytest.approx(696.675), pytest.approx(696.325))
    assert (down["diameter"], down["invert_error"]) == (pytest.approx(15.0), pytest.approx(0.03))
    up = proposed_row(judged(reroutes.R1[::-1]), "main")
    assert (up["invert_start"], up["invert_end"]) == (pytest.approx(696.325), pytest.approx(696.675))
    unknown = proposed_row(judged(((1000, 1075), (900, 1075), (900, 725))), "main")
    assert unknown["invert_end"] is None and unknown["diameter"] is None


@pytest.mark.parametrize(("points", "words"), [
    (((1000, 1075),), "at least two points"), (((0, 0), (100, 0), (100, 100), (50, -50)), "meets itself"),
    (((0, 0), (0, 0)), "no length"),
])
def test_a_line_that_cannot_be_judged(points, words):
    with pytest.raises(RouteError, match=words):
        judged(points)
