"""Inverts that are typed or worked out from a grade, and whether the water can step down at both ends."""

import builders as b
import numpy as np
import pytest
from fallkeeper.plugin.reroute.plan import RouteError
from hypothesis import given, settings
from hypothesis import strategies as st
from reroutes import county_of, judged, of

# main up the y axis at 0.1 %, from 95.00 at its outlet: 95.20 at 2+00, 95.60 at 6+00; the bypass is 600 ft
MAIN = b.main("M", (0, 0), (0, 1000), invert_start=95.0, invert_end=96.0, invert_error=0.01, diameter=12)
BYPASS = ((0, 200), (100, 200), (100, 600), (0, 600))
LEVEL = 0.005 / b.FT  # standard error of a level shot in ft


def bypass(**given):
    return judged(county_of(MAIN, outlets=[b.outlet(0, 0)]), BYPASS, **given)


def ends(found):
    """Inverts of the lower and the upper end in ft."""
    return [round(found.stations[row]["invert"], 4) for row in (0, -1)]


def test_without_a_figure_of_its_own_the_pipe_steps_nowhere():
    found = bypass()
    assert ends(found) == [95.2, 95.6] and not of(found, "tie-in-step") and "tie-in-step" not in found.why


@pytest.mark.parametrize(("asked", "inverts", "drop", "call"), [
    ({"grade": 0.05}, [95.2, 95.5], None, None),
    ({"grade": 0.07}, [95.2, 95.62], -0.02, "cannot_tell"),
    ({"grade": 0.1}, [95.2, 95.8], -0.2, "found"),
    ({"grade": 0.05, "invert_down": 95.1}, [95.1, 95.4], -0.1, "cannot_tell"),  # an invert with no word on its error
    ({"grade": 0.05, "invert_up": 95.6}, [95.3, 95.6], None, None),
    ({"grade": 0.1, "invert_up": 95.6, "invert_error": 0.02}, [95.0, 95.6], -0.2, "found"),
    ({"invert_down": 95.1, "invert_error": 0.01}, [95.1, 95.6], -0.1, "found"),
    ({"invert_down": 95.15}, [95.15, 95.6], -0.05, "cannot_tell"),
    ({"invert_up": 95.5}, [95.2, 95.5], None, None),
])
def test_the_end_that_is_left_open_follows_the_grade_and_is_held_against_the_pipe_there(asked, inverts, drop, call):
    found = bypass(**asked)
    assert ends(found) == inverts
    step = of(found, "tie-in-step")
    assert [(row["value"], row["call"], row["unit"]) for row in step] == (
        [] if drop is None else [(pytest.approx(drop), call, "ft")])


def test_the_chance_of_a_climb_has_the_errors_of_the_pipe_there_the_start_and_the_laying():
    step = of(bypass(grade=0.07), "tie-in-step")[0]
    error = np.sqrt(0.01**2 + 0.01**2 + LEVEL**2)
    assert step["probability"] == pytest.approx(0.8221, abs=0.001)
    assert 0.02 / error == pytest.approx(0.9234, abs=0.001)  # whose Φ that is
    assert "upper end lies 0.020 ft above the invert of M at its 6+00" in step["detail"]
    assert "too large to be sure" in step["detail"]


def test_the_fall_of_a_pipe_laid_to_grade_is_as_sure_as_the_laying():
    found = bypass(grade=0.05)
    assert found.grade == pytest.approx(0.05) and found.verdict == "falls"
    assert found.reroute.verdict.sigma_m / b.FT == pytest.approx(LEVEL)
    assert found.reroute.upper.how == "worked out from the lower end and the grade"


def test_a_grade_of_nothing_is_not_called():
    assert bypass(grade=0.0).verdict == "cannot_tell"


def test_both_inverts_and_a_grade_are_one_figure_too_many():
    with pytest.raises(RouteError, match="leave one of the three empty"):
        bypass(grade=0.05, invert_up=95.6, invert_down=95.2)


def test_with_no_invert_at_either_end_a_grade_alone_tells_no_level():
    unknown = b.main("M", (0, 0), (0, 1000), diameter=12)
    found = judged(county_of(unknown, outlets=[b.outlet(0, 0)]), BYPASS, grade=0.05)
    assert found.verdict == "unknown" and not of(found, "tie-in-step")
    assert np.isnan(found.reroute.upper.z_m)


def test_an_end_on_a_pipe_of_unknown_invert_is_not_checked():
    unknown = b.main("M", (0, 0), (0, 1000), diameter=12)
    found = judged(county_of(unknown, outlets=[b.outlet(0, 0)]), BYPASS, grade=0.05, invert_down=95.2)
    assert found.verdict == "falls" and not of(found, "tie-in-step")
    assert found.why["tie-in-step"] == [
        "The invert of M at its 2+00, at the lower end, is not known: shoot it.",
        "The invert of M at its 6+00, at the upper end, is not known: shoot it.",
    ]


@given(grade=st.floats(0.01, 1.0), down=st.floats(90.0, 100.0))
@settings(max_examples=25)
def test_laying_down_from_where_laying_up_came_out_is_the_same_pipe(grade, down):
    up = bypass(grade=grade, invert_down=down, invert_error=0.02)
    back = bypass(grade=grade, invert_up=up.stations[-1]["invert"], invert_error=0.02)
    assert back.stations[0]["invert"] == pytest.approx(down)
    assert (up.fall, up.p_reverse) == (pytest.approx(back.fall), pytest.approx(back.p_reverse, abs=1e-9))
