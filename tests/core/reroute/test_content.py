"""The page of a reroute and what is said of it, from judged routes."""

import html
import re
from dataclasses import replace

import builders as b
import numpy as np
import pytest
from fallkeeper.plugin.report.page import render_reroute
from fallkeeper.plugin.reroute.content import reroute_content, reroute_profile
from fallkeeper.plugin.reroute.words import fall_sentences, further_sentences, serious_sentences
from fallkeeper.plugin.units import Units
from report_samples import facts
from reroutes import R1, R2, county_of, judged, sample_county


def words_of(found, **changes):
    """All words of the page, without tags."""
    content = reroute_content(found.reroute, found.results, facts(**{"title": "R", **changes}))
    return html.unescape(re.sub("<[^>]*>", " ", render_reroute(content)))


@pytest.fixture(scope="module")
def r1():
    return judged(sample_county(), R1, invert_error=0.03, least_grade=0.05, diameter=15, openings="perforated")


@pytest.fixture(scope="module")
def r2():
    return judged(sample_county(), R2, invert_error=0.03)


def test_r2_says_first_that_it_runs_backwards(r2):
    assert fall_sentences(r2.reroute) == (
        "The new pipe rises 0.125 ft (0.0258 %) over 485.4 ft, on the way from Main A (A-1) at its 10+75 to F1-11 at "
        "its 7+71.2.",)


def test_r2_says_next_that_it_leads_a_main_into_a_lateral(r2):
    assert serious_sentences(r2.results.findings) == (
        "Smaller pipe below a larger one: 4 in is smaller than the pipe it takes the water from, Main A (A-1) at its "
        "10+75, 15 in.",)


def test_r2_tells_of_drains_trees_the_ground_and_which_end_is_up(r2):
    assert further_sentences(r2.reroute, r2.results.findings) == (
        "On its way it meets 9 drains: 8 may enter, 1 cannot tell.",
        "Within root distance of trees: 265.1 ft of the new pipe and 78.7 ft of old pipe that stays at its ends.",
        "The ground falls 0.375 ft (0.0773 %) between the same ends. That decides nothing: water runs in the pipe, not "
        "on the ground.",
        "Main A is the upper end: along the pipes it lies 1,075.0 ft from its outlet, F1-11 700.0 ft.",
    )


def test_a_doubtful_fall_is_not_told_as_a_fact():
    first, second = fall_sentences(judged(sample_county(), R2, invert_error=0.33).reroute)
    assert first.startswith("As far as is known the new pipe rises 0.125 ft")
    assert second.startswith("Two level shots would decide it: the inverts of Main A (A-1) at its 10+75 and F1-11 at")


def test_r2_on_its_page(r2):
    words = words_of(r2)
    for said in ("The pipe runs backwards", "99.8 %", "Do not lay it like this", "4 in is smaller than",
                 "Load and size", "What is left behind", "give DIAMETER"):
        assert said in words


def test_r1_on_its_page(r1):
    words = words_of(r1)
    for said in ("The pipe falls all the way", "the least asked for, is 96.1 %", "0.0636 %", "63.9 ft", "78.7 ft",
                 "meets 7 drains: 7 may enter", "696.389", "3.436", "2.15 ft at 0+00",
                 "Every check that was asked for"):
        assert said in words


def test_the_profile_shows_ground_pipe_calls_marks_and_roots(r1):
    profile = reroute_profile(r1.reroute)
    foot_m = sample_county().foot_m
    assert profile.station_m[[0, -1]] / foot_m == pytest.approx([0, 550])
    assert profile.invert_m[[0, -1]] / foot_m == pytest.approx([696.325, 696.675])
    assert np.isfinite(profile.ground_m).all()
    assert np.interp(450, profile.station_m / foot_m, profile.ground_m) / foot_m == pytest.approx(700.175)
    assert [call.call for call in profile.calls] == ["falls"]
    assert [mark.name for mark in profile.marks if mark.kind == "crossing"] == [f"F1-{k}" for k in range(14, 21)]
    assert [mark.name for mark in profile.marks if mark.kind == "tie-in"] == ["Main A", "Main A"]
    stretch, = profile.trees
    assert (stretch.from_m / foot_m, stretch.to_m / foot_m) == pytest.approx((486.1, 550.0), abs=0.1)


@pytest.mark.parametrize("given", [{}, {"ground": lambda x, y: float("nan")}, {"trees": [b.tree("T", (0, 300))]}])
def test_a_page_is_made_of_next_to_nothing(given):
    bare = county_of(b.pipe("P", (0, 0), (0, 1000)), **given)
    words = words_of(judged(bare, ((0, 200), (50, 400), (0, 600))))
    assert "Unknown whether the pipe falls" in words and "Unknown does not mean good" in words
    assert "nan" not in words.lower().replace("maintenance", "")


def test_metric_units_are_shown_throughout():
    main = b.main("M", (0, 0), (0, 1000), invert_start=95.0, invert_end=96.0, invert_error=0.01, diameter=12)
    place = county_of(main, outlets=[b.outlet(0, 0)], ground=lambda x, y: 99.0)
    place.county = replace(place.county, units=Units("metric"))
    words = words_of(judged(place, ((0, 200), (50, 400), (0, 600)), diameter=8), units=Units("metric"))
    for said in ("203.2 mm", "over 125.7 m", "Ground (m)", "at least 0.6 m", "at its 182.9 m"):
        assert said in words
