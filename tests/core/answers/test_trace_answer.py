"""What a click on a pipe of the sample is answered: the same figures as the traces give, in words and tables."""

import numpy as np
import pytest
import scenarios
import shapely
from fallkeeper.plugin.answers.answer import as_html, as_text
from fallkeeper.plugin.answers.find_pipe import foot_of, named
from fallkeeper.plugin.answers.pipe import said_pipe
from fallkeeper.plugin.answers.printed import answer_blocks
from fallkeeper.plugin.answers.state import explain_state, said_state
from fallkeeper.plugin.answers.trace import explain, middle_segments, shapes_above, shapes_below, trace_from
from fallkeeper.plugin.network.trace import place_near
from fallkeeper.plugin.units import US_SURVEY_FOOT_M

FT = US_SURVEY_FOOT_M


def traced_at(case, x_ft, y_ft):
    return trace_from(case.county, place_near(case.network, (x_ft * FT, y_ft * FT), 10.0))


def answer_at(case, x_ft, y_ft, land=True):
    return explain(case.county, traced_at(case, x_ft, y_ft), case.land if land else None)


def section(answer, title):
    return next(part for part in answer.sections if part.title == title)


def test_above_the_blocked_place_on_main_a():
    answer = answer_at(scenarios.case(bridged=False), 1000, 905)
    assert answer.title == "Main A (A-1), 9+05 from the outlet"
    said = section(answer, "What drains through here").sentences
    assert said[0].startswith("Above this place: 46 laterals, 41,420.2 ft of pipe, 46.00 acres of land")
    assert "constant inflow 4.0 gal/min" in said[0]
    assert said[-1] == "Constant inflows: Spring box 4.0 gal/min."
    owners = section(answer, "Land above, by owner")
    assert owners.rows[0] == ("Ebbing Kiln Farm", "40.00", "87.0 %")
    assert [row[0] for row in owners.rows] == ["Ebbing Kiln Farm", "Tarrowick Farm", "Meeting hall"]
    assert sum(float(row[1]) for row in owners.rows) == pytest.approx(46.0)
    land = section(answer, "Land above, by field")
    assert land.head == ("Field", "Owner", "acres", "Share")
    assert land.rows[0] == ("F3", "Ebbing Kiln Farm", "20.00", "43.5 %")
    assert sum(float(row[2]) for row in land.rows) == pytest.approx(46.0)
    way = section(answer, "Where the water goes")
    assert way.sentences[0].startswith("905.0 ft to the outlet OA")
    assert section(answer, "If it is plugged here, tell").sentences == (
        "Ebbing Kiln Farm, Tarrowick Farm, Meeting hall.",
        "Water may come up on the land of Ossel County too: pipe above runs there.",
    )


@pytest.mark.parametrize(("bridged", "acres"), [(False, "54.00"), (True, "70.00")])
def test_s59_at_the_outlet_of_main_b_before_and_after_the_bridge(bridged, acres):
    answer = answer_at(scenarios.case(bridged=bridged), 4000, 1)
    assert f"{acres} acres of land" in section(answer, "What drains through here").sentences[0]


def test_above_the_gap_no_outlet_is_reached_and_it_is_said():
    case = scenarios.case(bridged=False)
    answer = answer_at(case, 4000, 1900)
    assert section(answer, "Where the water goes").sentences == ("No outlet can be reached from here.",)


def test_without_land_nothing_is_said_of_owners():
    text = as_text(answer_at(scenarios.case(bridged=False), 1000, 905, land=False))
    assert "Land above" not in text and "Tarrowick" not in text and "46.00 acres" in text


def test_unknown_figures_of_a_pipe_are_called_unknown():
    import builders as b
    import networks
    from fallkeeper.plugin.county import County
    from fallkeeper.plugin.limits import Limits
    from fallkeeper.plugin.units import Units

    county = County(networks.build(networks.a01_rows(), [b.outlet(0, 0)]), Limits(), Units())
    said = said_pipe(county, 0)
    for word in ("material unknown", "openings unknown", "nobody says how it is known"):
        assert word in said


def test_shapes_run_with_the_water_and_have_the_length_that_is_told():
    case = scenarios.case(bridged=False)
    traced = traced_at(case, 1000, 905)
    above, below = shapes_above(case.county, traced), shapes_below(case.county, traced)
    assert shapely.length(above).sum() / FT == pytest.approx(41_420.2, abs=0.05)
    assert shapely.length(below).sum() / FT == pytest.approx(905.0, abs=0.01)
    ends = shapely.get_coordinates(shapely.get_point(below, -1))
    assert ends[-1] == pytest.approx([1000 * FT, 0.0], abs=1e-6), "the last ends at the outlet"
    segments = middle_segments(below)
    assert len(segments) == len(below) and (segments[:, 3] < segments[:, 1]).all(), "arrows point south, to the outlet"
    assert middle_segments(np.zeros(0, dtype=object)).shape == (0, 4)


def test_s51_shares_at_the_outlet_of_main_a():
    rows = section(answer_at(scenarios.case(bridged=True), 1000, 1), "Land above, by owner").rows
    assert rows == (
        ("Ebbing Kiln Farm", "40.00", "50.0 %"), ("Tarrowick Farm", "39.01", "48.8 %"),
        ("Meeting hall", "0.99", "1.2 %"),
    )


def test_pipes_that_are_not_saved_are_named():
    case = scenarios.case(bridged=False)
    unsaved = np.isin(case.network.drains.drain_id, ["F3-01", "F5-01"])
    traced = traced_at(case, 1000, 905)
    warnings = explain(case.county, traced, None, unsaved=unsaved).warnings
    assert warnings == ("Counted as drawn, but not saved yet: F3-01.",)
    assert explain(case.county, traced, None, unsaved=np.zeros(len(unsaved), dtype=bool)).warnings == ()
    some = explain(case.county, traced, None, unsaved=np.ones(len(unsaved), dtype=bool)).warnings[0]
    assert some.endswith("and 40 more.")


def test_a_place_beside_the_pipe_is_said_to_be_so():
    case = scenarios.case(bridged=False)
    traced = traced_at(case, 1020, 925)
    assert explain(case.county, traced, None, hit_m=10 * FT).warnings == ("This is the nearest pipe, 20.0 ft away.",)
    assert explain(case.county, traced, None, hit_m=30 * FT).warnings == ()


def test_pipes_are_found_by_what_people_call_them():
    case = scenarios.case(bridged=False)
    name = case.network.drains.name
    assert name[named(case.county, "main a")] == "Main A"
    assert case.network.drains.drain_id[named(case.county, "f3-0")] == "F3-01"
    assert named(case.county, "no such pipe") is None
    foot = foot_of(case.county, named(case.county, "Main A"))
    assert trace_from(case.county, foot).below.length_m == pytest.approx(0.0, abs=1e-6)
    assert len(trace_from(case.county, foot_of(case.county, named(case.county, "F3-01"))).above.pieces) == 0


def test_the_page_to_print_holds_answer_picture_and_cautions():
    answer = answer_at(scenarios.case(bridged=False), 1000, 905)
    blocks = answer_blocks(answer, "Ossel Flats <archive>", "AAAA", (400.0, 300.0))
    html = "".join(block.html for block in blocks)
    assert answer.title in html and "&lt;archive&gt;" in html and "Land above, by field" in html
    assert "Locate buried utilities before digging" in html and "names owners" in html
    drawing, = (block for block in blocks if block.svg)
    assert 'viewBox="0 0 400 300"' in drawing.svg and "base64,AAAA" in drawing.svg and drawing.size == (400.0, 300.0)
    tall, = (block for block in answer_blocks(answer, "", "AAAA", (1000.0, 800.0)) if block.svg)
    assert tall.size == (500.0, 400.0), "there is room for words on the first page"


def test_figures_stand_right_and_words_left():
    html = as_html(answer_at(scenarios.case(bridged=False), 1000, 905))
    assert '<td align="left">Ebbing Kiln Farm</td><td align="right">40.00</td><td align="right">87.0 %</td>' in html


def test_html_is_safe_and_text_is_complete():
    answer = answer_at(scenarios.case(bridged=False), 1000, 905)
    html, text = as_html(answer), as_text(answer)
    assert "<script" not in html and "Hall Lot" in html
    for part in answer.sections:
        assert part.title in text and all(sentence in text for sentence in part.sentences)


def test_state_names_what_is_in_doubt():
    case = scenarios.case(bridged=False)
    assert said_state(case.county) == "155 drains, 134,900 ft, in 4 systems; 17 drains reach no outlet"
    explained = explain_state(case.county, ("A note from reading.",))
    assert "A note from reading." in explained.sections[0].sentences
    assert "reach no outlet" not in said_state(scenarios.case(bridged=True).county)
